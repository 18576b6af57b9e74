//! Requests to the local page, past its guard and without a socket: a line of marks, method and path,
//! then the body; several requests are parted by lines of `%%`. A server and a case of its own for
//! each input.

#![no_main]

use std::fs;
use std::path::Path;
use std::sync::{Arc, LazyLock};

use axum::Router;
use axum::body::Body;
use axum::http::{Request, StatusCode, header};
use http_body_util::BodyExt;
use libfuzzer_sys::fuzz_target;
use tokio::runtime::{Builder, Runtime};
use tower::ServiceExt;
use tragus::infer::{self, Finder, PoseNetKind, RuntimeChoice};
use tragus::web::{Server, Setup};

static FINDER: LazyLock<Arc<Finder>> = LazyLock::new(|| {
    let runtime = infer::Runtime::start(&RuntimeChoice::Embedded).expect("the runtime");
    Arc::new(Finder::load(runtime, PoseNetKind::Full, 1, 1).expect("the nets"))
});
static RUNTIME: LazyLock<Runtime> =
    LazyLock::new(|| Builder::new_current_thread().enable_all().build().expect("a runtime"));

/// What a request comes without, or with another's, by the letters before its method.
struct Marks {
    stranger: bool,
    foreign_host: bool,
    foreign_page: bool,
}

fuzz_target!(|bytes: &[u8]| {
    let folder = tempfile::tempdir().expect("a folder");
    let case = case_in(folder.path());
    let server = Server::bind(Setup {
        finder: FINDER.clone(),
        visits: Vec::new(),
        case: Some(case),
        diary: folder.path().join("diary.json"),
        port: 0,
        now: || jiff::civil::date(2026, 5, 27).at(9, 30, 0, 0),
    })
    .expect("a port");
    let address = server.address().expect("an address");
    let (host, opening) = address["http://".len()..].split_once('/').expect("a path");
    let router = server.router();
    RUNTIME.block_on(async {
        let opened = Request::get(format!("/{opening}"))
            .header(header::HOST, host)
            .body(Body::empty())
            .expect("a request");
        let opened = router.clone().oneshot(opened).await.expect("an answer");
        let cookie = opened.headers()[header::SET_COOKIE].to_str().expect("text");
        let cookie = cookie.split(';').next().expect("a cookie").to_owned();
        for request in bytes.split_once_all(b"\n%%\n").into_iter().take(6) {
            ask(&router, host, &cookie, request).await;
        }
    });
});

async fn ask(router: &Router, host: &str, cookie: &str, request: &[u8]) {
    let end = request.iter().position(|&byte| byte == b'\n').unwrap_or(request.len());
    let (line, body) = request.split_at(end);
    let Ok(line) = std::str::from_utf8(line) else { return };
    let mut words = line.split(' ');
    let (Some(marks), Some(method), Some(path)) = (words.next(), words.next(), words.next()) else {
        return;
    };
    let marks = Marks {
        stranger: marks.contains('s'),
        foreign_host: marks.contains('h'),
        foreign_page: marks.contains('p'),
    };
    let host = if marks.foreign_host { "evil.example" } else { host };
    let origin = if marks.foreign_page { "http://evil.example".to_owned() } else { format!("http://{host}") };
    let mut asked = Request::builder()
        .method(method)
        .uri(path)
        .header(header::HOST, host)
        .header(header::ORIGIN, origin)
        .header("x-file-name", words.next().unwrap_or("photo.jpg"));
    if !marks.stranger {
        asked = asked.header(header::COOKIE, cookie);
    }
    let Ok(asked) = asked.body(Body::from(body.get(1..).unwrap_or_default().to_vec())) else {
        return;
    };
    let opens = asked.uri().path().starts_with("/open/");
    let answer = router.clone().oneshot(asked).await.expect("an answer");
    let status = answer.status();
    assert_ne!(status, StatusCode::INTERNAL_SERVER_ERROR, "{line}");
    if marks.foreign_host || marks.foreign_page || (marks.stranger && !opens) {
        assert_eq!(status, StatusCode::FORBIDDEN, "{line}");
    }
    assert!(answer.headers().contains_key(header::CONTENT_SECURITY_POLICY));
    answer.into_body().collect().await.expect("a whole answer");
}

/// A case with its screenings and no visit, so that no net has to look.
fn case_in(folder: &Path) -> std::path::PathBuf {
    let case = folder.join("case");
    fs::create_dir_all(case.join("screenings")).expect("a folder");
    let about = r#"{"schema":"tragus-case/1","code":"demo-01"}"#;
    fs::write(case.join("case.json"), about).expect("a case");
    let screening = include_str!("../../../fixtures/demo/screenings/2026-05-27.json");
    fs::write(case.join("screenings/2026-05-27.json"), screening).expect("a screening");
    case
}

trait SplitAll {
    fn split_once_all(&self, by: &[u8]) -> Vec<&[u8]>;
}

impl SplitAll for [u8] {
    /// The parts between each `by`.
    fn split_once_all(&self, by: &[u8]) -> Vec<&[u8]> {
        let mut parts = Vec::new();
        let mut rest = self;
        while let Some(at) = rest.windows(by.len()).position(|window| window == by) {
            parts.push(&rest[..at]);
            rest = &rest[at + by.len()..];
        }
        parts.push(rest);
        parts
    }
}
