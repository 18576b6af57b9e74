//! Who may ask, and what every answer forbids the browser to do.
//!
//! The server listens on this machine alone, but every page that is open in the browser can send
//! requests to it, and every program of this machine can. So a request counts only with the cookie
//! that the one-time address set, under the name that this server has (a foreign name that was made
//! to lead here is refused), and from this page itself.

use std::sync::{Arc, Mutex};

use axum::extract::{Path, Request, State};
use axum::http::header::{self, HeaderMap, HeaderName, HeaderValue};
use axum::http::{Method, StatusCode};
use axum::middleware::Next;
use axum::response::{IntoResponse, Response};
use base64::Engine;
use base64::engine::general_purpose::URL_SAFE_NO_PAD;
use maud::{DOCTYPE, html};

use super::answer::Trouble;
use super::lock;
use crate::checksum;

/// Where the one-time address leads.
const OPEN: &str = "/open/";

/// What the page may load and do: what this server gives, and nothing else.
const CONTENT_POLICY: &str = "default-src 'none'; script-src 'self'; style-src 'self'; \
     img-src 'self' blob:; media-src 'self' blob:; connect-src 'self'; form-action 'none'; \
     base-uri 'none'; frame-ancestors 'self'; frame-src 'self'";

/// The same for the report, which holds its own styles and pictures and no script.
pub const REPORT_POLICY: &str = "default-src 'none'; style-src 'unsafe-inline'; img-src data:; \
     form-action 'none'; base-uri 'none'; frame-ancestors 'self'";

const HEADERS: [(HeaderName, &str); 7] = [
    (header::CONTENT_SECURITY_POLICY, CONTENT_POLICY),
    (header::X_CONTENT_TYPE_OPTIONS, "nosniff"),
    (header::REFERRER_POLICY, "no-referrer"),
    (
        HeaderName::from_static("cross-origin-opener-policy"),
        "same-origin",
    ),
    (
        HeaderName::from_static("cross-origin-resource-policy"),
        "same-origin",
    ),
    (
        HeaderName::from_static("permissions-policy"),
        "camera=(self), microphone=(), geolocation=()",
    ),
    (header::CACHE_CONTROL, "no-store"),
];

/// What a request must know to be answered.
pub struct Guard {
    /// The names that this server goes by, with its port.
    hosts: [String; 2],
    /// Cookies are shared by all ports of a machine, so the name holds the port.
    cookie: String,
    session: String,
    /// Until it was used.
    token: Mutex<Option<String>>,
}

impl Guard {
    /// A guard of a port, and the token that opens it once.
    pub fn new(port: u16) -> Result<(Guard, String), getrandom::Error> {
        let token = unguessable()?;
        let guard = Guard {
            hosts: [format!("127.0.0.1:{port}"), format!("localhost:{port}")],
            cookie: format!("tragus-{port}"),
            session: unguessable()?,
            token: Mutex::new(Some(token.clone())),
        };
        Ok((guard, token))
    }

    /// Why a request is not answered.
    fn refuse(&self, request: &Request) -> Result<(), Trouble> {
        let headers = request.headers();
        let host = self.host(request).ok_or_else(|| {
            forbidden(
                "This address is not the one that tragus goes by.",
                "Use the address that tragus printed when it started.",
            )
        })?;
        if !is_from_here(request.method(), headers, host) {
            return Err(forbidden(
                "This was asked by another page, and only the page of tragus is answered.",
                "Copy the address that tragus printed into the address line of the browser.",
            ));
        }
        let opens = request.uri().path().starts_with(OPEN);
        if !opens && !self.knows(headers) {
            return Err(forbidden(
                "This browser was not let in, or tragus was started anew since.",
                "Use the address that tragus printed when it started. It works once: for another \
                 browser, stop tragus and start it anew.",
            ));
        }
        Ok(())
    }

    /// The name under which the server was asked, where it is one of its own.
    fn host<'a>(&self, request: &'a Request) -> Option<&'a str> {
        let named = only(request.headers(), &header::HOST)?;
        let is_own = |name: &str| self.hosts.iter().any(|host| host == name);
        // A request line may hold a whole address, which then goes before the header.
        let by_line = request.uri().authority();
        (is_own(named) && by_line.is_none_or(|name| is_own(name.as_str()))).then_some(named)
    }

    fn knows(&self, headers: &HeaderMap) -> bool {
        headers
            .get_all(header::COOKIE)
            .iter()
            .filter_map(|cookies| cookies.to_str().ok())
            .flat_map(|cookies| cookies.split(';'))
            .filter_map(|cookie| cookie.trim().split_once('='))
            .any(|(name, value)| name == self.cookie && is_same(value, &self.session))
    }
}

/// Whether the page of this server asks, or whoever sits before the browser. Browsers say so
/// themselves; a page can't forge it.
fn is_from_here(method: &Method, headers: &HeaderMap, host: &str) -> bool {
    let origin = headers.get(header::ORIGIN).map(HeaderValue::as_bytes);
    let own_origin = origin.map(|origin| origin == format!("http://{host}").as_bytes());
    let site = headers.get("sec-fetch-site").map(HeaderValue::as_bytes);
    match method {
        &Method::GET | &Method::HEAD => {
            own_origin.unwrap_or(true)
                && site.is_none_or(|site| site == b"same-origin" || site == b"none")
        }
        // What changes something has to say where it comes from.
        _ => {
            own_origin.unwrap_or(site == Some(b"same-origin"))
                && site.is_none_or(|site| site == b"same-origin")
        }
    }
}

/// The value of a header that stands once.
fn only<'a>(headers: &'a HeaderMap, name: &HeaderName) -> Option<&'a str> {
    let mut values = headers.get_all(name).iter();
    match (values.next(), values.next()) {
        (Some(value), None) => value.to_str().ok(),
        _ => None,
    }
}

/// 256 random bits as text.
pub fn unguessable() -> Result<String, getrandom::Error> {
    let mut bytes = [0; 32];
    getrandom::fill(&mut bytes)?;
    Ok(URL_SAFE_NO_PAD.encode(bytes))
}

/// Compares checksums, so that the time it takes tells nothing of how much of a guess was right.
fn is_same(guess: &str, secret: &str) -> bool {
    checksum::sha256(guess.as_bytes()) == checksum::sha256(secret.as_bytes())
}

fn forbidden(error: &str, hint: &str) -> Trouble {
    Trouble::new(StatusCode::FORBIDDEN, error, hint)
}

/// Stands before everything: lets a request through or answers why not.
pub async fn admit(State(guard): State<Arc<Guard>>, request: Request, next: Next) -> Response {
    let for_program = request.uri().path().starts_with("/api/");
    let mut response = match guard.refuse(&request) {
        Ok(()) => next.run(request).await,
        Err(trouble) if for_program => trouble.into_response(),
        Err(trouble) => page(&trouble),
    };
    for (name, value) in HEADERS {
        let value = HeaderValue::from_static(value);
        response.headers_mut().entry(name).or_insert(value);
    }
    response
}

/// Answers the one-time address: gives the cookie, once.
pub async fn open(
    State(guard): State<Arc<Guard>>,
    method: Method,
    Path(token): Path<String>,
) -> Response {
    // A look ahead, as some programs take at links, must not use it up.
    if method != Method::GET {
        return StatusCode::METHOD_NOT_ALLOWED.into_response();
    }
    let mut known = lock(&guard.token);
    if !known.as_deref().is_some_and(|known| is_same(&token, known)) {
        return page(&forbidden(
            "This address was used before, or was not copied whole.",
            "Each start of tragus prints an address that works once. If the page is open in another \
             tab, go on there; otherwise stop tragus and start it anew.",
        ));
    }
    *known = None;
    let cookie = format!(
        "{}={}; HttpOnly; SameSite=Strict; Path=/",
        guard.cookie, guard.session
    );
    (
        StatusCode::SEE_OTHER,
        [
            (header::SET_COOKIE, cookie),
            (header::LOCATION, "/".to_owned()),
        ],
    )
        .into_response()
}

/// A trouble for someone who sees it in place of the page.
fn page(trouble: &Trouble) -> Response {
    let page = html! {
        (DOCTYPE)
        html lang="en" {
            head { meta charset="utf-8"; title { "tragus" } }
            body {
                h1 { "tragus" }
                p { (trouble.error()) }
                p { (trouble.hint()) }
            }
        }
    };
    let kind = [(header::CONTENT_TYPE, "text/html; charset=utf-8")];
    (trouble.status(), kind, page.into_string()).into_response()
}

#[cfg(test)]
mod tests {
    use super::*;
    use axum::body::Body;

    fn guard() -> Guard {
        Guard::new(4711).expect("random bytes").0
    }

    fn request(method: Method, headers: &[(&str, &str)]) -> Request {
        let mut request = Request::builder().method(method).uri("/api/home");
        for (name, value) in headers {
            request = request.header(*name, *value);
        }
        request.body(Body::empty()).expect("a request")
    }

    #[test]
    fn tokens_and_sessions_are_never_alike() {
        let (one, first) = Guard::new(1).expect("random bytes");
        let (other, second) = Guard::new(1).expect("random bytes");
        assert_ne!(first, second);
        assert_ne!(one.session, other.session);
        assert!(first.len() >= 43 && one.session.len() >= 43);
    }

    #[test]
    fn only_this_servers_own_name_and_page_are_answered() {
        let guard = guard();
        let cookie = format!("a=b; tragus-4711={}", guard.session);
        let own = [("host", "127.0.0.1:4711"), ("cookie", cookie.as_str())];
        let with = |more: &[(&'static str, &'static str)]| [&own[..], more].concat();
        let ok = |method, headers: &[(&str, &str)]| guard.refuse(&request(method, headers)).is_ok();
        assert!(ok(Method::GET, &own));
        assert!(ok(Method::GET, &with(&[("sec-fetch-site", "none")])));
        assert!(ok(
            Method::POST,
            &with(&[("origin", "http://127.0.0.1:4711")])
        ));
        assert!(ok(
            Method::POST,
            &with(&[("sec-fetch-site", "same-origin")])
        ));
        assert!(!ok(Method::GET, &[("host", "127.0.0.1:4711")]));
        assert!(!ok(Method::GET, &[("cookie", cookie.as_str())]));
        assert!(!ok(
            Method::GET,
            &[("host", "evil.example:4711"), ("cookie", cookie.as_str())]
        ));
        assert!(!ok(
            Method::GET,
            &[("host", "127.0.0.1:80"), ("cookie", cookie.as_str())]
        ));
        assert!(!ok(Method::GET, &with(&[("host", "localhost:4711")])));
        for site in ["cross-site", "same-site"] {
            assert!(!ok(Method::GET, &with(&[("sec-fetch-site", site)])));
        }
        assert!(!ok(Method::POST, &own));
        assert!(!ok(Method::POST, &with(&[("sec-fetch-site", "none")])));
        for origin in ["http://localhost:4711", "http://127.0.0.1:4712", "null"] {
            let foreign = [("origin", origin), ("sec-fetch-site", "same-origin")];
            assert!(!ok(Method::POST, &with(&foreign)), "{origin}");
        }
        assert!(!ok(
            Method::GET,
            &[("host", "127.0.0.1:4711"), ("cookie", "tragus-4711=")]
        ));
    }
}
