//! The local web page: who is answered and who is not, and what self-check, review and comparison
//! answer.

use std::fs;
use std::io::{Read, Write};
use std::net::TcpStream;
use std::path::{Path, PathBuf};
use std::time::{Duration, Instant};

use jiff::civil::date;
use serde_json::{Value, json};
use tempfile::TempDir;
use ureq::http::Response;

use tragus::case::Case;
use tragus::locate::Wish;
use tragus::photo::{self, Bare, Limits};
use tragus::pipeline::{self, Aids, PhotoInput};
use tragus::record;
use tragus::report::{self, self_check};
use tragus::visit::VisitFacts;
use tragus::web::{Server, Setup, VisitFolder};

#[cfg(unix)]
use crate::common::{as_somebody, let_write};
use crate::common::{demo, finder, kill_rounds, planted, root, shared_finder};

const JSON: &str = "application/json";

/// A server of this process; it ends with the process.
struct Served {
    address: String,
    host: String,
}

fn serve(visits: &[PathBuf], diary: &Path) -> Served {
    serve_with(visits, None, diary)
}

/// Serves visits, and a case with its own.
fn serve_with(visits: &[PathBuf], case: Option<&Path>, diary: &Path) -> Served {
    let filed = case.map(|case| Case::open(case).and_then(|case| case.visits()));
    let filed = filed.transpose().expect("a case").unwrap_or_default();
    let visits = visits
        .iter()
        .chain(&filed)
        .map(|path| folder(path))
        .collect();
    let server = Server::bind(Setup {
        finder: shared_finder().clone(),
        visits,
        case: case.map(Path::to_owned),
        diary: diary.to_owned(),
        port: 0,
        now: || date(2026, 5, 11).at(9, 30, 0, 0),
    })
    .expect("a port");
    let address = server.address().expect("an address");
    let host = host_of(&address);
    std::thread::spawn(move || server.run_until(std::future::pending()));
    Served { address, host }
}

fn host_of(address: &str) -> String {
    address.split('/').nth(2).expect("a host").to_owned()
}

fn folder(path: &Path) -> VisitFolder {
    let mut photos: Vec<PathBuf> = fs::read_dir(path)
        .expect("a folder")
        .map(|entry| entry.expect("an entry").path())
        .filter(|path| photo::is_photo_name(path))
        .collect();
    photos.sort();
    let facts = fs::read_to_string(path.join("visit.json"))
        .map(|text| record::facts_from_json(&text).expect("facts"))
        .unwrap_or_default();
    VisitFolder {
        path: path.to_owned(),
        facts,
        photos,
    }
}

/// A folder with some of the demo's photos.
fn visit_of(photos: &[&str]) -> TempDir {
    let folder = tempfile::tempdir().expect("a folder");
    for name in photos.iter().chain(&["visit.json"]) {
        fs::copy(demo("intake").join(name), folder.path().join(name)).expect("a copy");
    }
    folder
}

impl Served {
    fn browser(&self) -> Browser {
        Browser::open(&self.address)
    }

    /// Sends what no client would, and gives back what came.
    fn raw(&self, request: &str) -> String {
        let mut stream = TcpStream::connect(&self.host).expect("a connection");
        stream.write_all(request.as_bytes()).expect("sent");
        let mut answer = Vec::new();
        // A server that hangs up has answered all the same.
        let _ = stream.read_to_end(&mut answer);
        String::from_utf8_lossy(&answer).into_owned()
    }
}

/// A browser that was let in.
#[derive(Clone)]
struct Browser {
    agent: ureq::Agent,
    host: String,
    cookie: String,
}

fn agent() -> ureq::Agent {
    ureq::Agent::config_builder()
        .http_status_as_error(false)
        .max_redirects(0)
        .timeout_global(Some(Duration::from_secs(120)))
        .build()
        .into()
}

struct Answer {
    status: u16,
    response: Response<ureq::Body>,
}

impl Answer {
    fn of(result: Result<Response<ureq::Body>, ureq::Error>) -> Answer {
        let response = result.expect("an answer");
        Answer {
            status: response.status().as_u16(),
            response,
        }
    }

    fn header(&self, name: &str) -> &str {
        let value = self.response.headers().get(name);
        value.map_or("", |value| value.to_str().expect("text"))
    }

    fn bytes(mut self) -> Vec<u8> {
        let body = self.response.body_mut();
        body.with_config()
            .limit(1 << 28)
            .read_to_vec()
            .expect("a body")
    }

    fn text(self) -> String {
        String::from_utf8(self.bytes()).expect("text")
    }

    /// The value of an answer that went well.
    fn json(self) -> Value {
        let status = self.status;
        let text = self.text();
        assert_eq!(status, 200, "{text}");
        serde_json::from_str(&text).expect("JSON")
    }

    /// A trouble in words, with this status.
    fn trouble(self, status: u16) -> Value {
        let came = self.status;
        let text = self.text();
        assert_eq!(came, status, "{text}");
        let body: Value = serde_json::from_str(&text).expect("JSON");
        for field in ["error", "hint"] {
            assert!(
                body[field].as_str().is_some_and(|words| words.len() > 10),
                "{text}"
            );
        }
        body
    }
}

impl Browser {
    fn open(address: &str) -> Browser {
        let agent = agent();
        let answer = Answer::of(agent.get(address).call());
        assert_eq!((answer.status, answer.header("location")), (303, "/"));
        let cookie = answer.header("set-cookie");
        Browser {
            cookie: cookie.split(';').next().expect("a cookie").to_owned(),
            host: host_of(address),
            agent,
        }
    }

    fn url(&self, path: &str) -> String {
        format!("http://{}{path}", self.host)
    }

    fn get(&self, path: &str) -> Answer {
        let request = self
            .agent
            .get(self.url(path))
            .header("cookie", &self.cookie);
        Answer::of(request.call())
    }

    fn send(&self, method: &str, path: &str, kind: &str, name: &str, body: &[u8]) -> Answer {
        let request = match method {
            "PUT" => self.agent.put(self.url(path)),
            _ => self.agent.post(self.url(path)),
        };
        let request = request
            .header("cookie", &self.cookie)
            .header("origin", format!("http://{}", self.host))
            .header("content-type", kind)
            .header("x-file-name", name);
        Answer::of(request.send(body))
    }

    fn post(&self, path: &str, value: &Value) -> Answer {
        self.send("POST", path, JSON, "", value.to_string().as_bytes())
    }

    fn put(&self, path: &str, value: &Value) -> Answer {
        self.send("PUT", path, JSON, "", value.to_string().as_bytes())
    }

    /// Keeps who the person is, in a window that shows what is kept now.
    fn keep(&self, person: &Value) -> Answer {
        let from = self.get("/api/home").json()["person"].clone();
        self.put("/api/home/person", &json!({ "to": person, "from": from }))
    }

    fn photo(&self, path: &str, name: &str, bytes: &[u8]) -> Answer {
        self.send("POST", path, "image/jpeg", name, bytes)
    }

    fn delete(&self, path: &str) -> Answer {
        let request = self
            .agent
            .delete(self.url(path))
            .header("cookie", &self.cookie)
            .header("sec-fetch-site", "same-origin");
        Answer::of(request.call())
    }

    fn edit(&self, photo: usize, landmark: &str, from: Value, to: Value) -> Answer {
        self.post(
            "/api/visits/v1/edits",
            &json!({ "photo": photo, "landmark": landmark, "from": from, "to": to }),
        )
    }
}

fn at(x: f64, y: f64) -> Value {
    json!({ "x": x, "y": y })
}

fn reach() -> Vec<u8> {
    fs::read(demo("intake").join("side-reach.jpg")).expect("a photo")
}

fn value_of(visit: &Value, measure: &str, unit: &str) -> f64 {
    let rows = visit["measures"].as_array().expect("measures");
    let row = rows
        .iter()
        .find(|row| row["measure"] == measure && row["unit"] == unit);
    row.expect("the measure")["value"]
        .as_f64()
        .expect("a number")
}

// Who is answered.

#[test]
fn the_address_works_once_and_nothing_is_answered_without_its_cookie() {
    let folder = tempfile::tempdir().expect("a folder");
    let served = serve(&[], &folder.path().join("diary.json"));
    let wrong = format!("http://{}/open/AAAA", served.host);
    let agent = agent();
    assert_eq!(Answer::of(agent.get(&wrong).call()).status, 403);
    // A look ahead does not use it up.
    assert_eq!(Answer::of(agent.head(&served.address).call()).status, 405);
    let answer = Answer::of(agent.get(&served.address).call());
    assert_eq!(answer.status, 303);
    let cookie = answer.header("set-cookie").to_owned();
    for part in ["HttpOnly", "SameSite=Strict", "Path=/"] {
        assert!(cookie.contains(part), "{cookie}");
    }
    assert!(!cookie.contains("Domain") && !cookie.contains("Expires"));
    let again = Answer::of(agent.get(&served.address).call());
    assert_eq!((again.status, again.header("set-cookie")), (403, ""));
    assert!(again.text().contains("works once"));

    let other = serve(&[], &folder.path().join("other.json")).browser();
    for path in [
        "/",
        "/page/index.html",
        "/api/home",
        "/api/visits",
        "/api/diary",
        "/nowhere",
    ] {
        for cookie in ["", "tragus=1", &other.cookie] {
            let url = format!("http://{}{path}", served.host);
            let answer = Answer::of(agent.get(url).header("cookie", cookie).call());
            assert_eq!(answer.status, 403, "{path} {cookie}");
        }
    }
}

#[test]
fn a_foreign_name_that_leads_here_is_refused() {
    let folder = tempfile::tempdir().expect("a folder");
    let served = serve(&[], &folder.path().join("diary.json"));
    let Browser { host, cookie, .. } = served.browser();
    let port = host.split(':').next_back().expect("a port").to_owned();
    let ask = |line: &str, hosts: &[&str]| {
        let hosts: String = hosts
            .iter()
            .map(|host| format!("Host: {host}\r\n"))
            .collect();
        let request = format!("{line}\r\n{hosts}Cookie: {cookie}\r\nConnection: close\r\n\r\n");
        served.raw(&request)
    };
    let fine = "GET /api/home HTTP/1.1";
    let status = |answer: &str| answer.split(' ').nth(1).unwrap_or("").to_owned();
    assert_eq!(status(&ask(fine, &[&host])), "200");
    assert_eq!(status(&ask(fine, &[&format!("localhost:{port}")])), "200");
    let evil = format!("evil.example:{port}");
    for hosts in [
        &[evil.as_str()][..],
        &["127.0.0.1"],
        &["127.0.0.1:1"],
        &[host.as_str(), evil.as_str()],
        &[evil.as_str(), host.as_str()],
        &[],
    ] {
        let answer = ask(fine, hosts);
        assert!(
            ["400", "403"].contains(&status(&answer).as_str()),
            "{hosts:?}: {answer}"
        );
        assert!(!answer.contains("person"), "{hosts:?}");
    }
    let whole = format!("GET http://{evil}/api/home HTTP/1.1");
    assert_eq!(status(&ask(&whole, &[&host])), "403");
    assert_eq!(status(&ask("GET /api/home HTTP/1.0", &[])), "403");
}

#[test]
fn another_page_in_the_same_browser_is_refused() {
    let folder = tempfile::tempdir().expect("a folder");
    let diary = folder.path().join("diary.json");
    let served = serve(&[], &diary);
    let browser = served.browser();
    let nobody = json!({ "stature_cm": null, "operated_side": null, "arm_limit_deg": null });
    let person = json!({ "to": nobody, "from": nobody });
    let own = format!("http://{}", browser.host);
    let put = |headers: &[(&str, &str)]| {
        let mut request = browser
            .agent
            .put(browser.url("/api/home/person"))
            .header("cookie", &browser.cookie);
        for (name, value) in headers {
            request = request.header(*name, *value);
        }
        Answer::of(request.send(person.to_string().as_bytes())).status
    };
    for headers in [
        &[][..],
        &[("origin", "http://evil.example")],
        &[("origin", "null")],
        &[("origin", "http://127.0.0.1:1")],
        &[("origin", "https://127.0.0.1")],
        &[
            ("origin", "http://evil.example"),
            ("sec-fetch-site", "same-origin"),
        ],
        &[("origin", own.as_str()), ("sec-fetch-site", "cross-site")],
        &[("sec-fetch-site", "cross-site")],
        &[("sec-fetch-site", "same-site")],
        &[("sec-fetch-site", "none")],
    ] {
        assert_eq!(put(headers), 403, "{headers:?}");
    }
    assert!(!diary.exists(), "a refused request wrote the diary");
    for site in ["cross-site", "same-site"] {
        let request = browser
            .agent
            .get(browser.url("/api/home"))
            .header("cookie", &browser.cookie)
            .header("sec-fetch-site", site);
        assert_eq!(Answer::of(request.call()).status, 403, "{site}");
    }
    assert_eq!(put(&[("origin", &own)]), 200);
    assert_eq!(put(&[("sec-fetch-site", "same-origin")]), 200);
    assert!(diary.exists());
}

#[test]
fn every_answer_forbids_caches_frames_and_foreign_content() {
    let folder = tempfile::tempdir().expect("a folder");
    let served = serve(&[], &folder.path().join("diary.json"));
    let browser = served.browser();
    let stranger = Browser {
        cookie: String::new(),
        ..browser.clone()
    };
    for (answer, status) in [
        (browser.get("/"), 200),
        (browser.get("/page/index.html"), 200),
        (browser.get("/page/none.js"), 404),
        (browser.get("/api/home"), 200),
        (browser.get("/api/visits/v1"), 404),
        (browser.delete("/api/home"), 405),
        (browser.get("/nowhere"), 404),
        (browser.get("/api/checks?view=side"), 405),
        (browser.photo("/api/checks?view=%zz", "", b""), 422),
        (stranger.get("/"), 403),
        (stranger.get("/api/home"), 403),
    ] {
        assert_eq!(answer.status, status);
        let policy = answer.header("content-security-policy").to_owned();
        assert!(policy.starts_with("default-src 'none'; script-src 'self'; style-src 'self';"));
        assert!(policy.contains("frame-ancestors 'self'") && !policy.contains("unsafe"));
        for (name, value) in [
            ("cache-control", "no-store"),
            ("x-content-type-options", "nosniff"),
            ("referrer-policy", "no-referrer"),
            ("cross-origin-opener-policy", "same-origin"),
            ("cross-origin-resource-policy", "same-origin"),
            (
                "permissions-policy",
                "camera=(self), microphone=(), geolocation=()",
            ),
        ] {
            assert_eq!(answer.header(name), value);
        }
        assert_eq!(answer.header("access-control-allow-origin"), "");
    }
}

#[test]
fn the_page_asks_for_nothing_from_elsewhere_and_holds_no_script_of_its_own() {
    let folder = tempfile::tempdir().expect("a folder");
    let browser = serve(&[], &folder.path().join("diary.json")).browser();
    let answer = browser.get("/");
    assert_eq!(answer.header("content-type"), "text/html; charset=utf-8");
    let page = answer.text();
    assert!(page.contains("tragus"));
    for script in page.split("<script").skip(1) {
        let inside = script.split_once('>').expect("a tag").1;
        assert!(inside.starts_with("</script>"), "a script within the page");
    }
    for scheme in [
        "src=\"http",
        "src=\"//",
        "href=\"http",
        "href=\"//",
        " onclick=",
        " style=",
    ] {
        assert!(!page.contains(scheme), "{scheme}");
    }
}

#[test]
fn only_this_machine_is_listened_to() {
    let folder = tempfile::tempdir().expect("a folder");
    let served = serve(&[], &folder.path().join("diary.json"));
    assert!(served.host.starts_with("127.0.0.1:"));
    let port: u16 = served
        .host
        .split(':')
        .next_back()
        .and_then(|p| p.parse().ok())
        .expect("a port");
    let Ok(sockets) = fs::read_to_string("/proc/net/tcp") else {
        eprintln!("SKIPPED: this system does not list its sockets there");
        return;
    };
    // The local address is hexadecimal, the state 0A is that of listening.
    let end = format!(":{port:04X}");
    let sockets6 = fs::read_to_string("/proc/net/tcp6").unwrap_or_default();
    let listening: Vec<&str> = sockets
        .lines()
        .chain(sockets6.lines())
        .filter(|line| line.split_whitespace().nth(3) == Some("0A"))
        .filter_map(|line| line.split_whitespace().nth(1))
        .filter(|local| local.ends_with(&end))
        .collect();
    assert_eq!(listening, [format!("0100007F{end}")]);
}

#[test]
fn what_is_too_large_is_refused_and_only_a_few_photos_come_at_once() {
    let folder = tempfile::tempdir().expect("a folder");
    let served = serve(&[], &folder.path().join("diary.json"));
    let browser = served.browser();
    let large = vec![0xff; (60 << 20) + 1];
    let trouble = browser
        .photo("/api/checks?view=side", "a.jpg", &large)
        .trouble(413);
    assert!(trouble["error"].as_str().expect("words").contains("60 MB"));
    assert!(trouble["hint"].as_str().expect("words").contains("photo"));
    let note = json!({ "check": "c1", "note": "x".repeat(70_000) });
    let trouble = browser.post("/api/diary", &note).trouble(413);
    assert!(!trouble["hint"].as_str().expect("words").contains("photo"));
    // Photos that were announced and don't arrive.
    let head = format!(
        "POST /api/checks HTTP/1.1\r\nHost: {}\r\nCookie: {}\r\nOrigin: http://{}\r\n\
         Content-Length: 1000\r\n\r\n",
        browser.host, browser.cookie, browser.host
    );
    let waiting: Vec<TcpStream> = (0..3)
        .map(|_| {
            let mut stream = TcpStream::connect(&served.host).expect("a connection");
            stream.write_all(head.as_bytes()).expect("sent");
            stream
        })
        .collect();
    let refused = (0..100).any(|_| {
        std::thread::sleep(Duration::from_millis(20));
        browser.photo("/api/checks", "a.jpg", b"none").status == 503
    });
    assert!(refused, "a fourth photo was taken in beside three");
    drop(waiting);
    let taken = (0..100).any(|_| {
        std::thread::sleep(Duration::from_millis(20));
        browser.photo("/api/checks", "a.jpg", b"none").status == 422
    });
    assert!(taken, "places were not given back");
}

#[test]
fn no_request_is_a_path_on_the_disk() {
    let folder = visit_of(&["side-reach.jpg"]);
    let served = serve(
        &[folder.path().to_owned()],
        &folder.path().join("diary.json"),
    );
    let browser = served.browser();
    for path in [
        "/page/../../../Cargo.toml",
        "/page/..%2f..%2f..%2fCargo.toml",
        "/page/%2e%2e/mod.rs",
        "/page//etc/passwd",
        "/page/%2fetc%2fpasswd",
        "/../../../../etc/passwd",
        "/api/visits/..%2f..%2fetc%2fpasswd",
        "/api/visits/v1/photos/..%2f..%2fvisit.json/picture",
        "/api/visits/v1/photos/-1/picture",
        "/api/visits/v1/photos/7/picture",
        "/api/checks/..%2f..%2fetc%2fpasswd/picture",
        "/api/comparisons/%2fetc%2fpasswd",
    ] {
        let answer = served.raw(&format!(
            "GET {path} HTTP/1.1\r\nHost: {}\r\nCookie: {}\r\nConnection: close\r\n\r\n",
            browser.host, browser.cookie
        ));
        assert!(answer.starts_with("HTTP/1.1 404"), "{path}: {answer}");
        for inside in ["root:", "[package]", "stature_cm"] {
            assert!(!answer.contains(inside), "{path}");
        }
    }
    browser.delete("/api/diary/..%2f..%2fvisit.json").json();
    assert!(folder.path().join("visit.json").exists());
    let new = browser.post("/api/visits", &json!({})).json();
    assert_eq!(new["id"], "v2");
    for name in ["..%2F..%2Fetc%2Fpasswd", "%2Fetc%2Fpasswd", "..%5Cpasswd"] {
        let visit = browser
            .photo("/api/visits/v2/photos", name, &reach())
            .json();
        let photos = visit["photos"].as_array().expect("photos");
        let file = photos.last().expect("a photo")["file"]
            .as_str()
            .expect("a name");
        assert!(
            file.starts_with("passwd") && !file.contains(['/', '\\']),
            "{file}"
        );
    }
}

#[test]
fn what_is_not_understood_is_told_in_words() {
    let folder = tempfile::tempdir().expect("a folder");
    let browser = serve(&[], &folder.path().join("diary.json")).browser();
    browser
        .send("POST", "/api/diary", JSON, "", b"{")
        .trouble(400);
    browser
        .put("/api/home/person", &json!({ "name": "x" }))
        .trouble(400);
    for person in [
        json!({ "stature_cm": 1.65 }),
        json!({ "arm_limit_deg": 999 }),
        json!({ "operated_side": "rigth" }),
    ] {
        browser.keep(&person).trouble(422);
    }
    for visit in [
        json!({ "date": "10.3.2026" }),
        json!({ "label": "two\nlines" }),
        json!({ "stature_cm": 1640 }),
    ] {
        browser.post("/api/visits", &visit).trouble(422);
    }
    browser
        .post("/api/diary", &json!({ "check": "c9" }))
        .trouble(404);
    browser
        .photo("/api/checks", "a.jpg", b"no photo")
        .trouble(422);
    // A good photo, so that it is the view that is refused.
    for view in ["%zz", "below", "%00", ""] {
        let path = format!("/api/checks?view={view}");
        let trouble = browser.photo(&path, "a.jpg", &reach()).trouble(422);
        let words = trouble["error"].as_str().expect("words");
        assert!(words.contains("from the side or from the front"), "{words}");
    }
}

// The self-check.

#[test]
fn a_reach_is_checked_in_the_words_of_the_command_and_kept_in_the_diary() {
    let folder = tempfile::tempdir().expect("a folder");
    let path = folder.path().join("data/diary.json");
    let browser = serve(&[], &path).browser();
    let person = json!({ "stature_cm": 164.0, "operated_side": "right", "arm_limit_deg": 120.0 });
    assert_eq!(browser.keep(&person).json()["person"], person);
    // A window that was opened before does not take the limit away.
    let nobody = json!({ "stature_cm": null, "operated_side": null, "arm_limit_deg": null });
    let stale = json!({ "to": { "stature_cm": 170.0 }, "from": nobody });
    browser.put("/api/home/person", &stale).trouble(409);
    assert_eq!(browser.get("/api/home").json()["person"], person);
    let check = browser
        .photo("/api/checks?view=side", "reach.jpg", &reach())
        .json();

    let photo = PhotoInput {
        file: "reach.jpg".to_owned(),
        bytes: Ok(reach()),
        wish: Wish::default(),
        manual: Vec::new(),
        aids: Aids::default(),
    };
    let facts = VisitFacts {
        stature_cm: Some(164.0),
        operated: tragus::body::Operated::from_name("right"),
        arm_limit_deg: Some(120.0),
        ..VisitFacts::default()
    };
    let visit = pipeline::measure_visit(finder(), facts, [photo]).expect("a visit");
    let arm = &self_check::arms(&visit)[0];
    let told = &check["arms"][0];
    assert_eq!(check["arms"].as_array().map(Vec::len), Some(1));
    assert_eq!(told["words"], arm.words.as_str());
    assert_eq!(
        (&told["limit_head"], &told["limit_words"]),
        (&json!(""), &json!(""))
    );
    assert_eq!(told["numbers"], arm.numbers.as_str());
    assert_eq!(
        (&told["side"], &told["against_limit"]),
        (&json!("right"), &json!("below"))
    );
    assert_eq!(told["since_last"], Value::Null);
    assert_eq!(
        browser.get("/api/home").json()["cautions"],
        self_check::CAUTIONS
    );
    assert_eq!(check["about_the_sides"], self_check::MIRRORED);

    let answer = browser.get(check["picture"].as_str().expect("an address"));
    assert_eq!(answer.header("content-type"), "image/jpeg");
    let picture = answer.bytes();
    assert!(!picture.windows(4).any(|bytes| bytes == b"Exif"));
    let shown = image::load_from_memory(&picture).expect("a picture");
    assert!(
        shown.width() < 600 && shown.height() <= 800,
        "not cut to the person"
    );

    let keep = json!({ "check": check["id"], "note": "after breakfast" });
    browser.post("/api/diary", &keep).json();
    // From another tab too: it is the same check.
    let diary = browser.post("/api/diary", &keep).json();
    assert_eq!(diary["entries"].as_array().map(Vec::len), Some(1));
    let entry = &diary["entries"][0];
    assert_eq!(entry["date"], "2026-05-11T09:30");
    assert_eq!(entry["note"], "after breakfast");
    let (measure, elevation) = arm.elevation;
    assert_eq!(entry["arms"][0]["measure"], measure.id());
    let kept = entry["arms"][0]["value"].as_f64().expect("a number");
    assert!((kept - elevation.value).abs() < 1e-3);
    assert_eq!(entry["arms"][0]["to_ear"]["unit"], "cm");
    assert_eq!(
        (&entry["limit_deg"], &entry["operated_side"]),
        (&json!(120.0), &json!("right"))
    );
    assert_eq!(diary["file"], path.display().to_string());
    let text = fs::read_to_string(&path).expect("the diary");
    assert!(!text.contains("reach.jpg") && text.len() < 2000, "{text}");

    // A new start finds it again.
    let browser = serve(&[], &path).browser();
    assert_eq!(browser.get("/api/home").json()["person"], person);
    assert_eq!(
        browser.get("/api/diary").json()["entries"],
        diary["entries"]
    );
    let check = browser
        .photo("/api/checks?view=side", "reach.jpg", &reach())
        .json();
    let since = check["arms"][0]["since_last"]["words"]
        .as_str()
        .expect("words");
    assert!(since.contains("about as high as on 11 May 2026"), "{since}");
    // At the limit no change is spoken of.
    for limit in [60.0, 103.0] {
        let person = json!({ "arm_limit_deg": limit });
        browser.keep(&person).json();
        let check = browser
            .photo("/api/checks?view=side", "reach.jpg", &reach())
            .json();
        let arm = &check["arms"][0];
        assert_ne!(arm["against_limit"], "below");
        assert_eq!(arm["since_last"], Value::Null);
        let [head, more, words] =
            ["limit_head", "limit_words", "words"].map(|field| arm[field].as_str().expect("words"));
        assert!(head.contains("your limit"), "{head}");
        assert!(
            !more.is_empty() && !words.contains("limit"),
            "{more} {words}"
        );
        let may_be_above = arm["against_limit"] != "may_be_at";
        assert_eq!(head.starts_with("Stop here. "), may_be_above, "{head}");
        // The limit of the check is kept with it, whatever it is by then.
        browser.keep(&json!({})).json();
        let keep = json!({ "check": check["id"] });
        let diary = browser.post("/api/diary", &keep).json();
        let entries = diary["entries"].as_array().expect("entries");
        let last = entries.last().expect("an entry");
        assert_eq!(last["limit_deg"], limit);
        assert_eq!(last["operated_side"], Value::Null);
    }
    let id = entry["id"].as_str().expect("an id");
    let diary = browser.delete(&format!("/api/diary/{id}")).json();
    let left = diary["entries"].as_array().expect("entries");
    assert!(left.len() == 2 && left.iter().all(|entry| entry["id"] != id));
}

/// Where a part of a picture lies in the whole, by pixels spread over it.
fn place_of(part: &image::RgbImage, whole: &image::RgbImage) -> (u32, u32) {
    let spread: Vec<(u32, u32)> = (1..16)
        .flat_map(|i| (1..16).map(move |j| (i, j)))
        .map(|(i, j)| (i * part.width() / 16, j * part.height() / 16))
        .collect();
    let differ = |&(left, top): &(u32, u32)| -> u32 {
        let at = |&(x, y): &(u32, u32)| {
            let pair = (part.get_pixel(x, y), whole.get_pixel(left + x, top + y));
            let channels = pair.0.0.iter().zip(pair.1.0);
            channels.map(|(a, b)| u32::from(a.abs_diff(b))).sum::<u32>()
        };
        spread.iter().map(at).sum()
    };
    let lefts = 0..=whole.width() - part.width();
    let places =
        lefts.flat_map(|left| (0..=whole.height() - part.height()).map(move |top| (left, top)));
    places.min_by_key(differ).expect("a place")
}

#[test]
fn every_face_in_the_picture_of_a_check_is_covered() {
    let folder = tempfile::tempdir().expect("a folder");
    let browser = serve(&[], &folder.path().join("diary.json")).browser();
    let group = fs::read(root().join("fixtures/cases/two-people.jpg")).expect("a photo");
    let mut seen = 0;
    for bytes in [reach(), group] {
        let check = browser.photo("/api/checks", "photo.jpg", &bytes).json();
        let picture = browser.get(check["picture"].as_str().expect("an address"));
        let shown = image::load_from_memory(&picture.bytes())
            .expect("a picture")
            .to_rgb8();
        let photo = PhotoInput {
            file: "photo.jpg".to_owned(),
            bytes: Ok(bytes.clone()),
            wish: Wish::default(),
            manual: Vec::new(),
            aids: Aids::default(),
        };
        let visit = pipeline::measure_visit(finder(), VisitFacts::default(), [photo]);
        let record = visit.expect("a visit").photos.remove(0);
        let bare = photo::upright(&bytes, photo::Limits::default()).expect("the photo");
        let (left, top) = place_of(&shown, &report::overlay(&bare, &record, true));
        for face in &record.faces {
            let reach = face.radius as i64;
            let disc = (-reach..=reach)
                .flat_map(|x| (-reach..=reach).map(move |y| (x, y)))
                .filter(|(x, y)| x * x + y * y <= reach * reach)
                .map(|(x, y)| (face.centre.x as i64 + x, face.centre.y as i64 + y));
            let pixels = |picture: &image::RgbImage, (left, top): (u32, u32)| -> Vec<[u8; 3]> {
                let places = disc.clone().filter_map(|(x, y)| {
                    let x = u32::try_from(x - i64::from(left)).ok()?;
                    let y = u32::try_from(y - i64::from(top)).ok()?;
                    picture.get_pixel_checked(x, y).map(|pixel| pixel.0)
                });
                places.collect()
            };
            let covered = pixels(&shown, (left, top));
            if covered.len() < disc.clone().count() / 2 {
                continue;
            }
            seen += 1;
            // One grey where no line is drawn over it, which no skin has.
            let middle = |channel: usize| {
                let mut values: Vec<u8> = covered.iter().map(|pixel| pixel[channel]).collect();
                values.sort_unstable();
                values[values.len() / 2]
            };
            let cover = [0, 1, 2].map(middle);
            let share = |pixels: &[[u8; 3]]| {
                let is_cover = |pixel: &&[u8; 3]| {
                    let mut pairs = pixel.iter().zip(cover);
                    pairs.all(|(a, b)| a.abs_diff(b) <= 8)
                };
                pixels.iter().filter(is_cover).count() as f64 / pixels.len() as f64
            };
            let (before, after) = (share(&pixels(&bare, (0, 0))), share(&covered));
            assert!(before < 0.2 && after > 0.7, "{face:?}: {before} {after}");
        }
    }
    assert!(seen >= 2, "only {seen} faces were looked at");
}

#[test]
fn a_photo_without_a_person_says_what_to_do_and_is_not_kept() {
    let folder = tempfile::tempdir().expect("a folder");
    let browser = serve(&[], &folder.path().join("diary.json")).browser();
    let mut empty = Vec::new();
    image::RgbImage::from_pixel(600, 800, image::Rgb([120, 130, 140]))
        .write_to(
            &mut std::io::Cursor::new(&mut empty),
            image::ImageFormat::Jpeg,
        )
        .expect("a JPEG");
    let check = browser
        .photo("/api/checks?view=front", "empty.jpg", &empty)
        .json();
    assert_eq!(check["arms"], json!([]));
    assert_eq!(check["nothing"], "This photo could not be checked.");
    let about = check["about_the_photo"][0].as_str().expect("words");
    assert!(about.contains("Nobody was found"), "{about}");
    let keep = json!({ "check": check["id"], "note": "" });
    browser.post("/api/diary", &keep).trouble(422);
}

#[test]
fn a_diary_that_cant_be_read_is_told_and_left_as_it_is() {
    let folder = tempfile::tempdir().expect("a folder");
    let path = folder.path().join("diary.json");
    let broken = "{\"schema\": \"tragus-diary/1\", \"person\": {\"arm_limit_deg\": 9";
    fs::write(&path, broken).expect("a file");
    let browser = serve(&[], &path).browser();
    let troubles = [
        browser.get("/api/home"),
        browser.get("/api/diary"),
        browser.put("/api/home/person", &json!({ "to": {}, "from": {} })),
        browser.delete("/api/diary/x"),
        // The limit that it may hold is not known.
        browser.photo("/api/checks?view=side", "reach.jpg", &reach()),
    ];
    for trouble in troubles.map(|answer| answer.trouble(409)) {
        let words = trouble["error"].as_str().expect("words");
        assert!(words.contains("left as it is"), "{words}");
    }
    assert_eq!(fs::read_to_string(&path).expect("the file"), broken);
    // Whoever reviews needs no diary.
    browser.get("/api/visits").json();
}

/// The photo as a running camera would give it: small, and changed.
fn glimpse(change: impl FnOnce(image::RgbImage) -> image::RgbImage) -> Vec<u8> {
    let photo = image::load_from_memory(&reach())
        .expect("a photo")
        .to_rgb8();
    let small = image::imageops::thumbnail(&photo, 480, 640);
    let mut bytes = Vec::new();
    change(small)
        .write_to(
            &mut std::io::Cursor::new(&mut bytes),
            image::ImageFormat::Jpeg,
        )
        .expect("a JPEG");
    bytes
}

#[test]
fn a_running_camera_is_told_what_stands_in_the_way_and_nothing_of_the_arm() {
    use image::imageops::{crop_imm, replace, rotate90, thumbnail};
    let folder = tempfile::tempdir().expect("a folder");
    let browser = serve(&[], &folder.path().join("diary.json")).browser();
    let hints = |view: &str, picture: Vec<u8>| -> String {
        let path = format!("/api/framing?view={view}");
        let answer = browser.photo(&path, "", &picture).json();
        let hints = answer["hints"].as_array().expect("hints").clone();
        let hints: Vec<&str> = hints
            .iter()
            .map(|hint| hint.as_str().expect("words"))
            .collect();
        let words = hints.join(" ");
        for word in ["arm", "high", "raise", "°", "reach", "lift"] {
            assert!(!words.contains(word), "{words}");
        }
        words
    };
    assert_eq!(hints("side", glimpse(|photo| photo)), "");
    assert_eq!(hints("front", glimpse(|photo| photo)), "Face the camera.");
    let legs_cut = glimpse(|photo| crop_imm(&photo, 0, 0, 480, 480).to_image());
    let told = hints("side", legs_cut);
    assert!(told.contains("feet"), "{told}");
    let far = glimpse(|photo| {
        let mut wide = image::RgbImage::from_pixel(480, 640, *photo.get_pixel(5, 5));
        replace(&mut wide, &thumbnail(&photo, 288, 384), 96, 128);
        wide
    });
    let told = hints("side", far);
    assert!(told.contains("Come nearer"), "{told}");
    assert!(hints("side", glimpse(|photo| rotate90(&photo))).contains("on its side"));
    let dark = glimpse(|mut photo| {
        photo.iter_mut().for_each(|value| *value /= 8);
        photo
    });
    assert!(hints("side", dark).contains("dark"));
    let empty = glimpse(|_| image::RgbImage::from_pixel(480, 640, image::Rgb([120, 130, 140])));
    assert!(hints("side", empty).starts_with("Nobody is seen"));
    browser
        .photo("/api/framing", "", b"no picture")
        .trouble(422);
    browser
        .photo("/api/framing", "", &vec![0; 3 << 20])
        .trouble(413);
    // Few bytes that would unfold to many pixels.
    let mut vast = Vec::new();
    image::RgbImage::new(2200, 2000)
        .write_to(
            &mut std::io::Cursor::new(&mut vast),
            image::ImageFormat::Jpeg,
        )
        .expect("a JPEG");
    browser.photo("/api/framing", "", &vast).trouble(422);
    // While the nets look at a photo nothing is decoded for a hint.
    let other = browser.clone();
    let check = std::thread::spawn(move || {
        let check = other.photo("/api/checks?view=side", "a.jpg", &reach());
        check.json();
    });
    let mut passed_over = false;
    while !passed_over && !check.is_finished() {
        passed_over = browser.photo("/api/framing", "", b"no picture").status == 200;
    }
    check.join().expect("a check");
    assert!(passed_over, "decoded while the nets were busy");
}

// Review.

#[test]
fn a_moved_landmark_changes_its_measures_at_once_and_can_be_given_back() {
    let folder = visit_of(&["side-right.jpg", "side-reach.jpg"]);
    let browser = serve(&[folder.path().to_owned()], &folder.path().join("d.json")).browser();
    let before = browser.get("/api/visits/v1").json();
    assert_eq!(before["title"], "intake, 2026-03-10");
    assert_eq!(before["saved"], true);
    let photo = &before["photos"][1];
    assert_eq!(
        (&photo["file"], &photo["index"]),
        (&json!("side-right.jpg"), &json!(1))
    );
    let own = &photo["landmarks"]["c7"];
    assert_eq!(own["original"], Value::Null);
    assert!(
        photo["placeable"]
            .as_array()
            .expect("names")
            .contains(&json!("c7"))
    );
    assert!(!photo["lines"].as_array().expect("lines").is_empty());
    let (x, y) = (own["x"].as_f64().expect("x"), own["y"].as_f64().expect("y"));

    let after = browser.edit(1, "c7", Value::Null, at(x - 10.0, y)).json();
    let moved = &after["photos"][1]["landmarks"]["c7"];
    assert_eq!(moved["evidence"], "manual");
    let original = moved["original"]["x"].as_f64().expect("x");
    assert!((original - x).abs() < 0.01);
    // C7 of a person who faces right moved back: the line to the tragus lies flatter.
    let angle = |visit: &Value| value_of(visit, "craniovertebral_angle", "deg");
    assert!(
        angle(&after) < angle(&before) - 2.0,
        "{} {}",
        angle(&before),
        angle(&after)
    );
    let flexion = |visit: &Value| value_of(visit, "shoulder_flexion", "deg");
    assert_eq!(flexion(&before), flexion(&after));
    assert_eq!(
        after["revision"].as_u64(),
        before["revision"].as_u64().map(|n| n + 1)
    );
    assert_eq!(after["saved"], false);
    println!("a moved landmark took {} ms", after["took_ms"]);

    let back = browser.edit(1, "c7", at(x - 10.0, y), Value::Null).json();
    for field in ["photos", "measures", "unmeasured", "notices"] {
        assert_eq!(back[field], before[field], "{field}");
    }
    let picture = browser
        .get(photo["picture"].as_str().expect("an address"))
        .bytes();
    let shown = image::load_from_memory(&picture).expect("a picture");
    assert_eq!(json!(shown.width()), photo["width"]);

    browser.edit(1, "c-7", Value::Null, at(x, y)).trouble(422);
    browser
        .edit(1, "elbow_left", Value::Null, at(x, y))
        .trouble(422);
    browser.edit(1, "c7", Value::Null, at(-1.0, y)).trouble(422);
    browser
        .edit(1, "c7", Value::Null, at(1e300, y))
        .trouble(422);
    browser.edit(2, "c7", Value::Null, at(x, y)).trouble(404);
}

#[test]
fn two_windows_lose_nothing_of_each_other() {
    let folder = visit_of(&["side-right.jpg"]);
    let one = serve(&[folder.path().to_owned()], &folder.path().join("d.json")).browser();
    let other = one.clone();
    let start = one.get("/api/visits/v1").json();
    let revision = start["revision"].as_u64().expect("a number");
    let since = |n: u64| other.get(&format!("/api/visits/v1?since={n}")).status;
    assert_eq!(since(revision), 204);
    one.edit(0, "c7", Value::Null, at(200.0, 200.0)).json();
    other
        .edit(0, "tragus_right", Value::Null, at(230.0, 170.0))
        .json();
    assert_eq!((since(revision), since(revision + 2)), (200, 204));
    // The other window does not know that C7 was moved.
    let trouble = other
        .edit(0, "c7", Value::Null, at(260.0, 200.0))
        .trouble(409);
    let landmarks = &trouble["visit"]["photos"][0]["landmarks"];
    assert_eq!(
        (&landmarks["c7"]["x"], &landmarks["c7"]["y"]),
        (&json!(200.0), &json!(200.0))
    );
    assert_eq!(landmarks["tragus_right"]["x"], 230.0);
    other
        .edit(0, "c7", at(201.0, 200.0), at(260.0, 200.0))
        .trouble(409);
    other
        .edit(0, "c7", at(200.0, 200.0), at(260.0, 200.0))
        .json();
    // Nor is anything saved that was not seen.
    let save = |n: u64| one.post("/api/visits/v1/save", &json!({ "revision": n }));
    let trouble = save(revision + 1).trouble(409);
    assert_eq!(trouble["visit"]["revision"], revision + 3);
    assert!(!folder.path().join("record.json").exists());
    let saved = save(revision + 3).json();
    assert_eq!(
        (&saved["file"], &saved["saved"]),
        (&json!("record.json"), &json!(true))
    );
    let quiet = format!("/api/visits/v1?since={}&saved=", revision + 3);
    assert_eq!(other.get(&format!("{quiet}false")).status, 200);
    assert_eq!(other.get(&format!("{quiet}true")).status, 204);

    // Many moves from two windows at once: each is there in the end.
    let names = ["c7", "t4", "t8", "t12", "tragus_right", "acromion_right"];
    std::thread::scope(|scope| {
        for (browser, names) in [(&one, &names[..3]), (&other, &names[3..])] {
            scope.spawn(move || {
                for name in names {
                    let known = browser.get("/api/visits/v1").json();
                    let now = &known["photos"][0]["landmarks"][*name];
                    let mut from = match now["evidence"] == "manual" {
                        true => json!({ "x": now["x"], "y": now["y"] }),
                        false => Value::Null,
                    };
                    for step in 0..7 {
                        let to = at(210.0 + f64::from(step), 222.0);
                        browser.edit(0, name, from, to.clone()).json();
                        from = to;
                    }
                }
            });
        }
    });
    let end = one.get("/api/visits/v1").json();
    assert_eq!(end["revision"], revision + 3 + 6 * 7);
    for name in names {
        assert_eq!(end["photos"][0]["landmarks"][name]["x"], 216.0, "{name}");
    }
}

/// Numbers that look random and are the same each time (Numerical Recipes' generator).
struct Dice(u32);

impl Dice {
    fn below(&mut self, n: u32) -> u32 {
        self.0 = self.0.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
        (self.0 >> 8) % n
    }
}

#[test]
fn a_saved_record_is_what_measuring_with_the_same_points_gives() {
    let photos = ["side-reach.jpg", "side-right.jpg"];
    let folder = visit_of(&photos);
    let browser = serve(&[folder.path().to_owned()], &folder.path().join("d.json")).browser();
    let mut visit = browser.get("/api/visits/v1").json();
    let mut dice = Dice(7);
    let mut placed: std::collections::BTreeMap<(usize, String), Value> = Default::default();
    for _round in 0..6 {
        for _edit in 0..5 {
            let photo = dice.below(2) as usize;
            let names = visit["photos"][photo]["placeable"]
                .as_array()
                .expect("names");
            let name = names[dice.below(names.len() as u32) as usize]
                .as_str()
                .expect("a name");
            let from = placed.remove(&(photo, name.to_owned()));
            let to = match from.is_some() && dice.below(3) == 0 {
                true => Value::Null,
                false => at(
                    150.0 + f64::from(dice.below(30_000)) / 100.0,
                    100.0 + f64::from(dice.below(60_000)) / 100.0,
                ),
            };
            let key = (photo, name.to_owned());
            let name = key.1.clone();
            visit = browser
                .edit(photo, &name, from.unwrap_or_default(), to.clone())
                .json();
            if !to.is_null() {
                placed.insert(key, to);
            }
        }
        browser
            .post(
                "/api/visits/v1/save",
                &json!({ "revision": visit["revision"] }),
            )
            .json();
        let saved = fs::read_to_string(folder.path().join("record.json")).expect("a record");
        let mut points = json!({});
        for ((photo, name), at) in &placed {
            points[photos[*photo]][name] = at.clone();
        }
        let file = folder.path().join("points.json");
        fs::write(&file, points.to_string()).expect("a file");
        let measured = assert_cmd::Command::cargo_bin("tragus")
            .expect("the program")
            .env_remove("ORT_DYLIB_PATH")
            .arg("measure")
            .arg(folder.path())
            .arg("--landmarks")
            .arg(&file)
            .args(["--format", "json"])
            .output()
            .expect("a run");
        let measured = String::from_utf8(measured.stdout).expect("JSON");
        assert!(!placed.is_empty() && saved.contains("\"manual\""));
        assert_eq!(saved, measured);
    }
}

#[test]
fn what_was_saved_is_there_again_and_a_strange_record_is_not_written_over() {
    let folder = visit_of(&["side-right.jpg"]);
    let diary = folder.path().join("d.json");
    let open = || serve(&[folder.path().to_owned()], &diary).browser();
    let first = open();
    first.get("/api/visits/v1").json();
    first.edit(0, "c7", Value::Null, at(200.5, 210.25)).json();
    // The folder's own visit.json sets no limit, and what the review was told goes before it.
    let facts = json!({ "label": "intake", "date": "2026-03-10", "stature_cm": 170.0,
        "operated_side": "right", "arm_limit_deg": 90.0 });
    // Whoever changes facts says what they were.
    first.put("/api/visits/v1/facts", &facts).trouble(400);
    let mut facts = facts;
    facts["from"] = json!({ "label": "intake", "date": "2026-03-10", "stature_cm": 164.0,
        "operated_side": "right" });
    let moved = first.put("/api/visits/v1/facts", &facts).json();
    let save = json!({ "revision": moved["revision"] });
    first.post("/api/visits/v1/save", &save).json();
    let again = open().get("/api/visits/v1").json();
    let c7 = &again["photos"][0]["landmarks"]["c7"];
    assert_eq!(
        (&c7["evidence"], &c7["x"], &c7["y"]),
        (&json!("manual"), &json!(200.5), &json!(210.25))
    );
    assert!(c7["original"]["x"].is_number());
    assert_eq!(again["facts"]["arm_limit_deg"], 90.0);
    assert_eq!(again["facts"]["stature_cm"], 170.0);
    // Of two limits the lower one holds.
    let own = folder.path().join("visit.json");
    fs::write(&own, r#"{ "arm_limit_deg": 80 }"#).expect("a file");
    let again = open().get("/api/visits/v1").json();
    assert_eq!(again["facts"]["arm_limit_deg"], 80.0);
    // Points placed by hand in a photo that is not here any more are not written over.
    let photo = folder.path().join("side-right.jpg");
    let away = folder.path().join("elsewhere");
    fs::rename(&photo, &away).expect("moved");
    fs::write(folder.path().join("other.jpg"), reach()).expect("a photo");
    let other = open();
    let visit = other.get("/api/visits/v1").json();
    let told = other
        .post(
            "/api/visits/v1/save",
            &json!({ "revision": visit["revision"] }),
        )
        .trouble(409);
    assert!(
        told["error"]
            .as_str()
            .expect("words")
            .contains("side-right.jpg")
    );
    // Another program wrote the record meanwhile.
    let record = folder.path().join("record.json");
    for strange in ["{\"schema\":\"other\"}", "not JSON"] {
        fs::write(&record, strange).expect("a file");
        first.post("/api/visits/v1/save", &save).trouble(409);
        assert_eq!(fs::read_to_string(&record).expect("the file"), strange);
    }
}

#[test]
fn a_visit_is_begun_in_the_page_and_its_record_handed_over() {
    let folder = tempfile::tempdir().expect("a folder");
    let browser = serve(&[], &folder.path().join("diary.json")).browser();
    let facts = json!({ "label": "week 3", "date": "2026-04-01", "stature_cm": 164.0,
        "operated_side": "right", "arm_limit_deg": null });
    let visit = browser.post("/api/visits", &facts).json();
    assert_eq!(
        (&visit["id"], &visit["title"]),
        (&json!("v1"), &json!("week 3, 2026-04-01"))
    );
    assert_eq!(
        (&visit["folder"], &visit["photos"]),
        (&Value::Null, &json!([]))
    );
    browser
        .photo("/api/visits/v1/photos", "notes.txt", b"no photo")
        .trouble(422);
    browser
        .photo("/api/visits/v7/photos", "a.jpg", &reach())
        .trouble(404);
    browser
        .photo("/api/visits/v1/photos", "reach.jpg", &reach())
        .json();
    let visit = browser
        .photo("/api/visits/v1/photos", "reach.jpg", &reach())
        .json();
    assert_eq!(visit["photos"][1]["file"], "reach (2).jpg");
    // Where large and small letters are the same, they would be one file.
    let visit = browser
        .photo("/api/visits/v1/photos", "REACH.jpg", &reach())
        .json();
    assert_eq!(visit["photos"][2]["file"], "REACH (3).jpg");
    assert_eq!(visit["saved"], false);
    let list = browser.get("/api/visits").json();
    assert_eq!(list["visits"][0]["photos"], 3);
    assert_eq!(list["visits"][0]["date"], "2026-04-01");
    let saved = browser
        .post(
            "/api/visits/v1/save",
            &json!({ "revision": visit["revision"] }),
        )
        .json();
    assert_eq!(
        (&saved["saved"], &saved["file"]),
        (&json!(true), &json!("record.json"))
    );
    let kept = record::visit_from_json(&saved["record"].to_string()).expect("a record");
    assert_eq!(kept.photos.len(), 3);
    assert_eq!(kept.facts.stature_cm, Some(164.0));
    // Neither photo nor record lies anywhere on the disk.
    assert_eq!(fs::read_dir(folder.path()).expect("a folder").count(), 0);
    // What is handed over counts as saved until something changes.
    assert_eq!(browser.get("/api/visits/v1").json()["saved"], true);
    let known = visit["facts"].clone();
    let edit =
        json!({ "photo": 0, "landmark": "elbow_right", "from": null, "to": at(300.0, 200.0) });
    let mut facts = facts.clone();
    facts["from"] = known;
    let changes: [&dyn Fn() -> Answer; 3] = [
        &|| browser.post("/api/visits/v1/edits", &edit),
        &|| browser.put("/api/visits/v1/facts", &facts),
        &|| browser.photo("/api/visits/v1/photos", "third.jpg", &reach()),
    ];
    for change in changes {
        let changed = change().json();
        assert_eq!(changed["saved"], false);
        let save = json!({ "revision": changed["revision"] });
        let saved = browser.post("/api/visits/v1/save", &save).json();
        assert_eq!(saved["saved"], true);
        assert!(record::visit_from_json(&saved["record"].to_string()).is_ok());
    }
}

#[test]
fn a_forgotten_stature_is_told_later_and_gives_what_it_would_have_given_at_once() {
    let folder = tempfile::tempdir().expect("a folder");
    let browser = serve(&[], &folder.path().join("diary.json")).browser();
    let known = json!({ "label": "intake", "date": "2026-03-10", "operated_side": "right" });
    let mut told = known.clone();
    told["stature_cm"] = json!(164.0);
    let add = |id: &str| {
        let path = format!("/api/visits/{id}/photos");
        for name in ["side-right.jpg", "side-reach.jpg"] {
            let bytes = fs::read(demo("intake").join(name)).expect("a photo");
            browser.photo(&path, name, &bytes).json();
        }
    };
    browser.post("/api/visits", &known).json();
    browser.post("/api/visits", &told).json();
    add("v1");
    add("v2");
    browser.edit(0, "c7", Value::Null, at(200.0, 210.0)).json();
    let before = browser.get("/api/visits/v1").json();
    // The page has no options and no files to name.
    for option in ["--", "visit.json", "manifest"] {
        assert!(!before.to_string().contains(option), "{option}: {before}");
    }
    let mut change = told.clone();
    change["from"] = known.clone();
    let after = browser.put("/api/visits/v1/facts", &change).json();
    assert_eq!(
        after["revision"],
        before["revision"].as_u64().expect("a number") + 1
    );
    assert_eq!((&after["saved"], &after["facts"]), (&json!(false), &told));
    let edit = json!({ "photo": 0, "landmark": "c7", "from": null, "to": at(200.0, 210.0) });
    let at_once = browser.post("/api/visits/v2/edits", &edit).json();
    for field in ["measures", "unmeasured", "notices"] {
        assert_eq!(after[field], at_once[field], "{field}");
    }
    assert_eq!(
        after["photos"][0]["landmarks"],
        at_once["photos"][0]["landmarks"]
    );
    // A window that has not seen the stature does not take it away.
    change["stature_cm"] = Value::Null;
    let trouble = browser.put("/api/visits/v1/facts", &change).trouble(409);
    assert_eq!(trouble["visit"]["facts"], told);
    change["from"] = told.clone();
    change["arm_limit_deg"] = json!(999);
    browser.put("/api/visits/v1/facts", &change).trouble(422);
    change["arm_limit_deg"] = json!(90.0);
    let limited = browser.put("/api/visits/v1/facts", &change).json();
    let notices = limited["notices"].to_string();
    assert!(notices.contains("Above the set limit"), "{notices}");
    for field in ["measures", "unmeasured"] {
        assert_eq!(limited[field], before[field], "{field}");
    }
}

// Comparison.

#[test]
fn the_report_of_a_comparison_is_that_of_the_command() {
    let folder = tempfile::tempdir().expect("a folder");
    let visits = [demo("intake"), demo("follow-up")];
    let browser = serve(&visits, &folder.path().join("diary.json")).browser();
    browser
        .post("/api/comparisons", &json!({ "visits": ["v1"] }))
        .trouble(422);
    browser
        .post("/api/comparisons", &json!({ "visits": ["v1", "v1"] }))
        .trouble(422);
    browser
        .post("/api/comparisons", &json!({ "visits": ["v1", "v9"] }))
        .trouble(404);
    let made = browser
        .post("/api/comparisons", &json!({ "visits": ["v1", "v2"] }))
        .json();
    let answer = browser.get(made["report"].as_str().expect("an address"));
    assert_eq!(
        answer.header("content-security-policy"),
        "default-src 'none'; style-src 'unsafe-inline'; img-src data:; form-action 'none'; \
         base-uri 'none'; frame-ancestors 'self'"
    );
    assert_eq!(answer.header("cache-control"), "no-store");
    let file = folder.path().join("report.html");
    assert_cmd::Command::cargo_bin("tragus")
        .expect("the program")
        .env_remove("ORT_DYLIB_PATH")
        .arg("compare")
        .args(&visits)
        .arg("--report")
        .arg(&file)
        .output()
        .expect("a run");
    let text = answer.text();
    // Whoever reads it in the page has no options and no files to write.
    for word in [
        "visit.json",
        "--landmarks",
        "tragus measure",
        "--stature",
        "--operated-side",
    ] {
        assert!(!text.contains(word), "{word}");
    }
    assert!(text == fs::read_to_string(file).expect("the report"));
}

// The program itself.

/// The program, serving; ended when dropped.
struct Program {
    child: std::process::Child,
    address: String,
    /// What it says to whoever started it.
    said: std::io::Lines<std::io::BufReader<std::process::ChildStderr>>,
}

impl Program {
    fn start(arguments: &[&Path], diary: &Path) -> Program {
        let program = std::process::Command::new(assert_cmd::cargo::cargo_bin("tragus"));
        Program::started(program, arguments, diary)
    }

    fn started(mut program: std::process::Command, arguments: &[&Path], diary: &Path) -> Program {
        use std::io::BufRead;
        let mut child = program
            .env_remove("ORT_DYLIB_PATH")
            .arg("serve")
            .args(arguments)
            .arg("--diary")
            .arg(diary)
            .args(["--port", "0", "--no-open"])
            .stderr(std::process::Stdio::piped())
            .spawn()
            .expect("the program");
        let stderr = std::io::BufReader::new(child.stderr.take().expect("standard error"));
        let mut said = stderr.lines();
        let address = said
            .by_ref()
            .map(|line| line.expect("text"))
            .find_map(|line| {
                let start = line.find("http://127.0.0.1:")?;
                line[start..].split_whitespace().next().map(str::to_owned)
            })
            .expect("an address");
        Program {
            child,
            address,
            said,
        }
    }

    #[cfg(unix)]
    fn signal(&self, signal: &str) {
        let pid = self.child.id().to_string();
        let sent = std::process::Command::new("kill")
            .args([signal, &pid])
            .status();
        assert!(sent.expect("the signal").success());
    }

    /// The next line with these words in it.
    fn says(&mut self, words: &str) -> String {
        let line = self.said.by_ref().map(|line| line.expect("text"));
        let mut lines = line.filter(|line| line.contains(words));
        lines
            .next()
            .unwrap_or_else(|| panic!("never said: {words}"))
    }
}

impl Drop for Program {
    fn drop(&mut self) {
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

#[test]
fn a_kill_while_saving_leaves_a_whole_record() {
    let folder = visit_of(&["side-right.jpg"]);
    let diary = folder.path().join("d.json");
    let record_path = folder.path().join("record.json");
    let mut dice = Dice(3);
    let mut saves = 0;
    let rounds = kill_rounds(20);
    for round in 0..rounds {
        let mut program = Program::start(&[folder.path()], &diary);
        let browser = Browser::open(&program.address);
        let visit = browser.get("/api/visits/v1").json();
        let c7 = &visit["photos"][0]["landmarks"]["c7"];
        // What was saved before the kill is there.
        let from = match round {
            0 => Value::Null,
            _ => json!({ "x": c7["x"], "y": c7["y"] }),
        };
        assert_eq!(c7["evidence"] == "manual", round > 0, "round {round}");
        let writer = std::thread::spawn(move || save_on_and_on(&browser, from));
        while round == 0 && !record_path.exists() {
            std::thread::sleep(Duration::from_millis(1));
        }
        // Meanwhile every look finds a whole record: a kill alone seldom hits the moment in which a
        // file that is written in place is not.
        let moment = Duration::from_micros(u64::from(30_000 + dice.below(60_000)));
        let begun = Instant::now();
        while begun.elapsed() < moment {
            let text = fs::read_to_string(&record_path).expect("a record");
            record::visit_from_json(&text).expect("a whole record");
        }
        program.child.kill().expect("killed");
        program.child.wait().expect("ended");
        saves += writer.join().expect("the writer");
        let text = fs::read_to_string(&record_path).expect("a record");
        let kept = record::visit_from_json(&text).expect("a whole record");
        assert_eq!(record::visit_to_json(&kept), text, "round {round}");
        let c7 = &kept.photos[0].landmarks[&tragus::body::Landmark::C7];
        assert_eq!(c7.evidence, tragus::visit::Evidence::Manual);
    }
    println!("{saves} saves, {rounds} kills");
    assert!(saves >= rounds, "only {saves} saves were under way");
}

/// Moves C7 and saves until the server is gone; how often it saved.
fn save_on_and_on(browser: &Browser, mut from: Value) -> usize {
    let post = |path: &str, value: &Value| -> Option<Value> {
        let request = browser
            .agent
            .post(browser.url(path))
            .header("cookie", &browser.cookie)
            .header("origin", format!("http://{}", browser.host));
        let mut response = request.send(value.to_string().as_bytes()).ok()?;
        serde_json::from_str(&response.body_mut().read_to_string().ok()?).ok()
    };
    for step in 0.. {
        let to = at(200.0 + f64::from(step % 100), 210.0);
        let edit = json!({ "photo": 0, "landmark": "c7", "from": from, "to": to });
        let Some(visit) = post("/api/visits/v1/edits", &edit) else {
            return step as usize;
        };
        assert!(visit["revision"].is_number(), "{visit}");
        let save = json!({ "revision": visit["revision"] });
        if post("/api/visits/v1/save", &save).is_none() {
            return step as usize;
        }
        from = to;
    }
    unreachable!("the server is killed")
}

#[cfg(unix)]
#[test]
fn told_to_end_it_finishes_what_is_under_way() {
    let folder = visit_of(&["side-right.jpg"]);
    for signal in ["-INT", "-TERM"] {
        let mut program = Program::start(&[folder.path()], &folder.path().join("d.json"));
        let browser = Browser::open(&program.address);
        // The nets look, which takes a while.
        let asked = std::thread::spawn(move || browser.get("/api/visits/v1").status);
        std::thread::sleep(Duration::from_millis(100));
        program.signal(signal);
        assert_eq!(asked.join().expect("an answer"), 200);
        let ended = program.child.wait().expect("an end");
        assert_eq!(ended.code(), Some(0), "{signal}");
    }
}

#[cfg(unix)]
#[test]
fn what_is_not_saved_is_told_before_ctrl_c_ends_it() {
    let folder = visit_of(&["side-right.jpg"]);
    let diary = folder.path().join("d.json");
    let begin = || {
        let program = Program::start(&[folder.path()], &diary);
        let browser = Browser::open(&program.address);
        let known = browser.get("/api/visits/v1").json();
        let c7 = &known["photos"][0]["landmarks"]["c7"];
        let from = match c7["evidence"] == "manual" {
            true => json!({ "x": c7["x"], "y": c7["y"] }),
            false => Value::Null,
        };
        let moved = browser.edit(0, "c7", from, at(210.0, 222.0)).json();
        (program, browser, json!({ "revision": moved["revision"] }))
    };
    // A first Ctrl-C only says so, and the page goes on; saved, the next one ends it.
    let (mut program, browser, save) = begin();
    program.signal("-INT");
    let told = program.says("Not saved so far");
    assert!(told.contains("intake, 2026-03-10"), "{told}");
    browser.post("/api/visits/v1/save", &save).json();
    program.signal("-INT");
    assert_eq!(program.child.wait().expect("an end").code(), Some(0));
    assert!(program.said.next().is_none(), "nothing was lost");
    // A second one ends it all the same.
    let (mut program, _, _) = begin();
    program.signal("-INT");
    program.says("Not saved so far");
    program.signal("-INT");
    let told = program.says("Ended without saving");
    assert!(told.contains("intake, 2026-03-10"), "{told}");
    assert_eq!(program.child.wait().expect("an end").code(), Some(0));
    // Nobody is asked by a system that goes down.
    let (mut program, _, _) = begin();
    program.signal("-TERM");
    program.says("Ended without saving");
    assert_eq!(program.child.wait().expect("an end").code(), Some(0));
}

#[test]
fn a_record_is_replaced_whole_and_never_written_into() {
    let folder = visit_of(&["side-right.jpg"]);
    let diary = folder.path().join("d.json");
    let browser = serve(&[folder.path().to_owned()], &diary).browser();
    let record_path = folder.path().join("record.json");
    let save = |from: Value, to: Value| {
        let moved = browser.edit(0, "c7", from, to).json();
        let save = json!({ "revision": moved["revision"] });
        browser.post("/api/visits/v1/save", &save)
    };
    browser.get("/api/visits/v1").json();
    save(Value::Null, at(200.0, 210.0)).json();
    let first = fs::read_to_string(&record_path).expect("a record");
    // A second name of the file shows what was written into it, and keeps what was put in its place.
    let other = folder.path().join("linked");
    fs::hard_link(&record_path, &other).expect("a link");
    save(at(200.0, 210.0), at(205.0, 210.0)).json();
    let second = fs::read_to_string(&record_path).expect("a record");
    assert_ne!(second, first);
    assert_eq!(fs::read_to_string(&other).expect("a record"), first);

    // A folder that is gone can't be written to, not even by root.
    let away = tempfile::tempdir().expect("a folder");
    let moved = away.path().join("moved");
    fs::rename(folder.path(), &moved).expect("moved");
    let trouble = save(at(205.0, 210.0), at(210.0, 210.0)).trouble(409);
    let words = trouble["error"].as_str().expect("words");
    assert!(words.contains("could not be written"), "{words}");
    assert_eq!(trouble["visit"]["saved"], false);
    fs::rename(&moved, folder.path()).expect("moved back");
    assert_eq!(fs::read_to_string(&record_path).expect("a record"), second);
    save(at(210.0, 210.0), at(211.0, 210.0)).json();
}

#[cfg(unix)]
#[test]
fn a_record_in_a_folder_that_may_not_be_written_stays_as_it_is() {
    let Some(mut somebody) = as_somebody() else {
        return;
    };
    somebody.arg(assert_cmd::cargo::cargo_bin("tragus"));
    let folder = visit_of(&["side-right.jpg"]);
    let elsewhere = tempfile::tempdir().expect("a folder");
    for folder in [&folder, &elsewhere] {
        let_write(folder.path(), true);
    }
    let diary = elsewhere.path().join("d.json");
    let program = Program::started(somebody, &[folder.path()], &diary);
    let browser = Browser::open(&program.address);
    let record_path = folder.path().join("record.json");
    let visit = browser.get("/api/visits/v1").json();
    let save = |visit: &Value| {
        let save = json!({ "revision": visit["revision"] });
        browser.post("/api/visits/v1/save", &save)
    };
    save(&visit).json();
    let first = fs::read_to_string(&record_path).expect("a record");
    let_write(folder.path(), false);
    // The file itself could be written into.
    let moved = browser.edit(0, "c7", Value::Null, at(200.0, 210.0)).json();
    let trouble = save(&moved).trouble(409);
    let_write(folder.path(), true);
    assert_eq!(trouble["visit"]["saved"], false);
    assert_eq!(fs::read_to_string(&record_path).expect("a record"), first);
}

#[test]
fn a_start_that_could_not_work_says_why() {
    let folder = tempfile::tempdir().expect("a folder");
    let run = |arguments: &[&str]| {
        let output = assert_cmd::Command::cargo_bin("tragus")
            .expect("the program")
            .env_remove("ORT_DYLIB_PATH")
            .current_dir(folder.path())
            .arg("serve")
            .args(arguments)
            .arg("--no-open")
            .output()
            .expect("a run");
        assert_eq!(output.status.code(), Some(2));
        String::from_utf8(output.stderr).expect("text")
    };
    assert!(run(&["no-such"]).contains("no such folder: no-such\nhint: "));
    assert!(run(&["."]).contains("no photo in this folder"));
    let twice = run(&[".", folder.path().to_str().expect("text")]);
    assert!(twice.contains("this folder is named twice: "), "{twice}");
    for case in ["one", "two"] {
        fs::create_dir(folder.path().join(case)).expect("a folder");
        let file = folder.path().join(case).join("case.json");
        fs::write(file, r#"{"schema":"tragus-case/1","code":"x"}"#).expect("a case");
    }
    assert!(run(&["one", "two"]).contains("this is a second case: two\nhint: "));
    let screenings = folder.path().join("one/screenings");
    fs::create_dir(&screenings).expect("a folder");
    fs::write(screenings.join("2026-05-01.json"), "{").expect("a file");
    let damaged = run(&["one"]);
    assert!(
        damaged.contains("2026-05-01.json\nhint: tragus case verify"),
        "{damaged}"
    );
    assert!(run(&["--diary", "no/such/diary.json"]).contains("no such folder to write into"));
    assert!(run(&["--diary", "visit.json"]).contains("this file is not overwritten"));
    let taken = std::net::TcpListener::bind("127.0.0.1:0").expect("a port");
    let port = taken.local_addr().expect("an address").port().to_string();
    assert!(run(&["--diary", "d.json", "--port", &port]).contains("is in use by another program"));
}

// The case.

/// The day on the server's clock.
const TODAY: &str = "2026-05-11";

/// A copy of the demo case with one photo of each of its first two visits.
fn case_in(folder: &Path) -> PathBuf {
    let case = folder.join("demo");
    let from = crate::common::demo_case();
    fs::create_dir_all(case.join("screenings")).expect("a folder");
    for visit in ["intake", "follow-up"] {
        let name = demo(visit);
        let name = name.file_name().expect("a name");
        let to = case.join("visits").join(name);
        fs::create_dir_all(&to).expect("a folder");
        for file in ["side-reach.jpg", "visit.json"] {
            fs::copy(demo(visit).join(file), to.join(file)).expect("a copy");
        }
    }
    for file in [
        "case.json",
        "screenings/2026-03-10.json",
        "screenings/2026-04-28.json",
    ] {
        fs::copy(from.join(file), case.join(file)).expect("a copy");
    }
    case
}

fn serve_case(folder: &TempDir) -> (PathBuf, Browser) {
    let case = case_in(folder.path());
    // Its files are as they were filed.
    tragus::case::accept(&case).expect("a case");
    let served = serve_with(&[], Some(&case), &folder.path().join("d.json"));
    (case, served.browser())
}

/// A screening in which every question has its first answer, which stops nothing.
fn filled(browser: &Browser) -> Value {
    let asked = browser.get("/api/case/screening").json();
    let questions = asked["questions"].as_array().expect("questions");
    let answers: serde_json::Map<String, Value> = questions
        .iter()
        .map(|question| {
            let id = question["id"].as_str().expect("an id").to_owned();
            (id, question["options"][0]["id"].clone())
        })
        .collect();
    json!({
        "day": asked["day"], "from": asked["from"], "surgery_date": "2026-02-17",
        "operated_side": "right", "answers": answers, "arm_limit": null, "load_limit": null,
    })
}

fn words(trouble: &Value) -> &str {
    trouble["error"].as_str().expect("words")
}

/// Whether a file of a case is as its list says.
fn is_listed_whole(case: &Path, file: &str) -> bool {
    let found = tragus::case::verify(case).expect("a case");
    case.join(file).is_file()
        && !found.unlisted.iter().any(|other| other == file)
        && found.is_whole()
}

#[test]
fn without_a_case_nothing_of_one_is_answered_and_a_stranger_gets_nothing() {
    let folder = tempfile::tempdir().expect("a folder");
    let browser = serve(&[], &folder.path().join("diary.json")).browser();
    let nothing = json!({ "approve": null });
    for path in ["/api/case", "/api/case/screening", "/api/case/plan"] {
        let trouble = browser.get(path).trouble(404);
        assert_eq!(words(&trouble), "No case is open.");
    }
    browser.get("/api/case/sheets/home").trouble(404);
    browser.post("/api/case/plan", &nothing).trouble(404);
    let visit = browser.post("/api/visits", &json!({})).json();
    assert_eq!(visit["may_file"], false);
    let save = json!({ "revision": visit["revision"] });
    browser.post("/api/visits/v1/file", &save).trouble(404);

    let (case, browser) = serve_case(&folder);
    let screening = filled(&browser);
    let stranger = Browser {
        cookie: "tragus=1".to_owned(),
        ..browser.clone()
    };
    for path in [
        "/api/case",
        "/api/case/screening",
        "/api/case/plan",
        "/api/case/sheets/plan",
    ] {
        assert_eq!(stranger.get(path).status, 403, "{path}");
    }
    let foreign = |path: &str, body: &Value| {
        let request = browser
            .agent
            .post(browser.url(path))
            .header("cookie", &browser.cookie)
            .header("origin", "http://evil.example");
        Answer::of(request.send(body.to_string().as_bytes())).status
    };
    for (path, body) in [
        ("/api/case/screening", &screening),
        ("/api/case/plan", &nothing),
        ("/api/visits/v1/file", &save),
    ] {
        assert_eq!(foreign(path, body), 403, "{path}");
        assert_eq!(stranger.post(path, body).status, 403, "{path}");
    }
    for sheet in [
        "2026-05-11",
        "..%2f..%2fcase.json",
        "plan.html",
        "%2fetc%2fpasswd",
    ] {
        let path = format!("/api/case/sheets/{sheet}");
        browser.get(&path).trouble(404);
    }
    assert!(!case.join("plans").exists());
    assert!(!case.join(format!("screenings/{TODAY}.json")).exists());
}

#[test]
fn a_case_is_told_with_its_visits_and_what_is_damaged() {
    let folder = tempfile::tempdir().expect("a folder");
    let (case, browser) = serve_case(&folder);
    let told = browser.get("/api/case").json();
    assert_eq!(
        (&told["code"], &told["today"], &told["days_since_surgery"]),
        (&json!("demo-01"), &json!(TODAY), &json!(83))
    );
    assert_eq!(
        told["screening"],
        json!({ "day": "2026-04-28", "is_of_today": false })
    );
    assert_eq!(
        (&told["plan"], &told["damages"]),
        (&Value::Null, &json!([]))
    );
    assert_eq!(
        told["sheets"],
        json!({ "plan": false, "home": false, "hold": false })
    );
    let titles: Vec<&Value> = told["visits"]
        .as_array()
        .expect("visits")
        .iter()
        .map(|visit| &visit["title"])
        .collect();
    assert_eq!(titles, ["intake, 2026-03-10", "follow-up, 2026-04-28"]);
    // The screening of a visit's day settles its facts: 120° until the end of March.
    let intake = browser.get("/api/visits/v1").json();
    assert_eq!(intake["facts"]["arm_limit_deg"], 120.0);
    let follow_up = browser.get("/api/visits/v2").json();
    assert_eq!(follow_up["facts"]["arm_limit_deg"], Value::Null);

    // What is saved goes through the case.
    let edit =
        json!({ "photo": 0, "landmark": "elbow_right", "from": null, "to": at(300.0, 200.0) });
    let moved = browser.post("/api/visits/v1/edits", &edit).json();
    let save = json!({ "revision": moved["revision"] });
    let locked = Case::open(&case).expect("a case");
    let held = locked.write().expect("a lock");
    let trouble = browser.post("/api/visits/v1/save", &save).trouble(409);
    assert!(words(&trouble).starts_with("Another program is writing into this case"));
    assert_eq!(trouble["visit"]["saved"], false);
    drop(held);
    browser.post("/api/visits/v1/save", &save).json();
    let record = "visits/2026-03-10-intake/record.json";
    assert!(is_listed_whole(&case, record));
    fs::write(case.join(record), "{}").expect("a file");
    let told = browser.get("/api/case").json();
    assert_eq!(told["damages"][0]["file"], record);
    let advice = told["damages"][0]["advice"].as_str().expect("words");
    assert!(!advice.is_empty() && told["damages"].as_array().expect("damages").len() == 1);
}

/// What can't be read is named, with what to do, and hides nothing else.
#[test]
fn a_case_with_a_plan_that_cant_be_read_is_shown() {
    let folder = tempfile::tempdir().expect("a folder");
    let (case, browser) = serve_case(&folder);
    let earlier = "plans/2026-04-28.json";
    fs::create_dir(case.join("plans")).expect("a folder");
    fs::write(case.join(earlier), "{}").expect("a file");
    tragus::case::accept(&case).expect("a case");
    // Changed since, it is told once.
    fs::write(case.join(earlier), "{").expect("a file");
    for path in ["/api/case", "/api/case/plan"] {
        let told = browser.get(path).json();
        let unreadable = told["unreadable"].as_array().expect("a list");
        assert_eq!(unreadable.len(), 1);
        let words = unreadable[0]["words"].as_str().expect("words");
        assert!(
            words.starts_with(&format!("{earlier} can't be read: ")),
            "{words}"
        );
        let advice = unreadable[0]["advice"].as_str().expect("words");
        assert!(advice.contains("from a backup"), "{advice}");
        assert_eq!(told["plan"], Value::Null);
    }
    let told = browser.get("/api/case").json();
    assert_eq!(told["damages"], json!([]));
    assert_eq!(told["visits"].as_array().expect("visits").len(), 2);
    // A screening is kept all the same.
    browser
        .post("/api/case/screening", &filled(&browser))
        .json();
    // One of today may have been approved: it is not written over.
    let today = case.join(format!("plans/{TODAY}.json"));
    fs::write(&today, "{").expect("a file");
    let refused = browser.post("/api/case/plan", &json!({ "approve": null }));
    let trouble = refused.trouble(409);
    assert!(words(&trouble).contains("can't be read"), "{trouble}");
    assert_eq!(fs::read_to_string(&today).expect("a file"), "{");
}

/// A file that is not as it was written, by its size or by the time of its last change, is found; one
/// that shows neither is left to `tragus case verify`, for the sake of the photos.
#[test]
fn the_photos_of_a_case_are_not_read_anew_for_each_look() {
    let folder = tempfile::tempdir().expect("a folder");
    let (case, browser) = serve_case(&folder);
    let damages = || {
        let told = browser.get("/api/case").json();
        told["damages"].as_array().expect("a list").len()
    };
    assert_eq!(damages(), 0);
    let photo = case.join("visits/2026-03-10-intake/side-reach.jpg");
    let changed = fs::metadata(&photo).and_then(|about| about.modified());
    let changed = changed.expect("a time");
    let mut bytes = fs::read(&photo).expect("a photo");
    let last = bytes.len() - 1;
    bytes[last] ^= 1;
    fs::write(&photo, &bytes).expect("a photo");
    let dated = |time| {
        let file = fs::File::options().write(true).open(&photo);
        file.and_then(|file| file.set_modified(time))
            .expect("a time");
    };
    dated(changed);
    assert_eq!(damages(), 0);
    let verified = || tragus::case::verify(&case).expect("a case").damages.len();
    assert_eq!(verified(), 1);
    dated(changed + Duration::from_secs(1));
    assert_eq!((damages(), verified()), (1, 1));
    // Another size, the time put back.
    bytes[last] ^= 1;
    fs::write(&photo, [&bytes[..], b"x"].concat()).expect("a photo");
    dated(changed + Duration::from_secs(1));
    assert_eq!(damages(), 1);
    fs::remove_file(&photo).expect("removed");
    assert_eq!(damages(), 1);
}

#[test]
fn a_screening_is_asked_anew_where_it_can_stop_everything() {
    let folder = tempfile::tempdir().expect("a folder");
    let (case, browser) = serve_case(&folder);
    let asked = browser.get("/api/case/screening").json();
    let questions = asked["questions"].as_array().expect("questions");
    let holding: Vec<bool> = questions
        .iter()
        .map(|question| {
            let can_hold = question["can_hold"].as_bool().expect("a flag");
            assert_eq!(question["known"].is_null(), can_hold, "{question}");
            can_hold
        })
        .collect();
    // The safety questions come first, and the rest has last time's answer.
    assert!(holding.is_sorted_by(|before, after| before >= after));
    assert!(holding.iter().filter(|hold| **hold).count() >= 8 && !holding.iter().all(|hold| *hold));
    assert_eq!(
        (
            &asked["last"],
            &asked["surgery_date"],
            &asked["operated_side"]
        ),
        (&json!("2026-04-28"), &json!("2026-02-17"), &json!("right"))
    );

    let good = filled(&browser);
    let file = case.join(format!("screenings/{TODAY}.json"));
    let refused = |field: &str, value: Value, status: u16, why: &str| {
        let mut wrong = good.clone();
        match field.split_once('/') {
            Some((field, inner)) => wrong[field][inner] = value,
            None => wrong[field] = value,
        }
        let trouble = browser.post("/api/case/screening", &wrong).trouble(status);
        assert!(words(&trouble).contains(why), "{trouble}");
        assert!(!file.exists(), "{why}");
    };
    refused("answers/fever", json!("maybe"), 422, "maybe is no answer");
    refused(
        "answers/shoe_size",
        json!("38"),
        422,
        "no question of these rules",
    );
    refused("surgery_date", json!("2026-05-12"), 422, "still to come");
    refused("surgery_date", json!("17.2.2026"), 400, "not understood");
    refused("operated_side", json!("none"), 422, "no operated side");
    refused(
        "arm_limit",
        json!({ "value": 900 }),
        422,
        "limit that was set is 900",
    );
    refused(
        "arm_limit",
        json!({ "value": 90, "until": "2026-05-10" }),
        422,
        "ended on 2026-05-10 is over",
    );
    refused(
        "load_limit",
        json!({ "value": -1 }),
        422,
        "limit that was set is -1",
    );
    refused("overrides", json!([]), 400, "not understood");
    refused("day", json!("2026-05-10"), 409, "shown on 2026-05-10");
    refused("from", json!(null), 409, "Another screening");
    {
        let other = Case::open(&case).expect("a case");
        let _held = other.write().expect("a lock");
        refused(
            "day",
            json!(TODAY),
            409,
            "Another program is writing into this case",
        );
    }

    let mut limited = good.clone();
    limited["arm_limit"] = json!({ "value": 100, "until": "2026-05-31" });
    let told = browser.post("/api/case/screening", &limited).json();
    assert_eq!(
        (&told["holds"], &told["screening"]["is_of_today"]),
        (&json!(0), &json!(true))
    );
    assert_eq!(told["no_longer_approved"], Value::Null);
    let findings = told["findings"].to_string();
    assert!(
        findings.contains("no higher than 100°, up to and with 2026-05-31"),
        "{findings}"
    );
    let kept = fs::read_to_string(&file).expect("a screening");
    let kept = record::screening_from_json(&kept).expect("a screening");
    assert_eq!(
        kept.arm_deg.expect("a limit").set_on,
        Some(date(2026, 5, 11))
    );
    assert_eq!(kept.answers.len(), questions.len());
    assert!(is_listed_whole(&case, &format!("screenings/{TODAY}.json")));
    // Whoever has the questions of before is told so.
    browser.post("/api/case/screening", &good).trouble(409);
}

/// The PDF of a sheet is given out as it lies in the case, under its name there.
fn is_printed(browser: &Browser, case: &Path, sheet: &str) {
    let answer = browser.get(&format!("/api/case/sheets/{sheet}.pdf"));
    assert_eq!(answer.header("content-type"), "application/pdf");
    let name = format!("{TODAY}-{sheet}.pdf");
    assert_eq!(
        answer.header("content-disposition"),
        format!("attachment; filename=\"{name}\"")
    );
    let there = fs::read(case.join("plans").join(name)).expect("a sheet");
    assert!(there.starts_with(b"%PDF-") && answer.bytes() == there);
}

#[test]
fn a_plan_is_proposed_approved_and_a_proposal_again() {
    let folder = tempfile::tempdir().expect("a folder");
    let (case, browser) = serve_case(&folder);
    let make = |body: Value| browser.post("/api/case/plan", &body);
    let screen = |screening: &Value| browser.post("/api/case/screening", screening).json();
    let propose = || make(json!({ "approve": null })).json();
    let home = case.join(format!("plans/{TODAY}-home.html"));

    // By the screening of another day nothing is approved.
    let early = propose();
    assert_eq!(early["screening"]["is_of_today"], false);
    let trouble = make(json!({ "approve": "AB", "seen": early["mark"] })).trouble(409);
    assert!(words(&trouble).contains("2026-04-28"), "{trouble}");

    // A hold stands: there is a plan that says so, and nothing to approve.
    let mut held = filled(&browser);
    held["answers"]["fever"] = json!("yes");
    assert_eq!(screen(&held)["holds"], 1);
    let stopped = propose();
    assert_eq!(
        (&stopped["holds"], &stopped["exercises"]),
        (&json!(1), &json!(0))
    );
    assert_eq!(stopped["prints"], json!({ "home": false, "hold": true }));
    is_printed(&browser, &case, "hold");
    browser.get("/api/case/sheets/home.pdf").trouble(404);
    browser.get("/api/case/sheets/plan.pdf").trouble(404);
    assert_eq!(stopped["findings"][0]["is_stop"], true);
    let trouble = make(json!({ "approve": "AB", "seen": stopped["mark"] })).trouble(409);
    assert!(words(&trouble).contains("hold stands"), "{trouble}");
    assert!(!home.exists());
    let sheet = browser.get("/api/case/sheets/plan").text();
    assert!(sheet.contains("Ask or refer first"));

    screen(&filled(&browser));
    browser.get("/api/case/sheets/plan").trouble(404);
    let proposal = propose();
    assert!(proposal["exercises"].as_u64().expect("a count") > 0);
    assert_eq!(proposal["plan"]["approved"], Value::Null);
    for (body, status) in [
        (json!({ "approve": "AB" }), 409),
        (json!({ "approve": "AB", "seen": stopped["mark"] }), 409),
        (json!({ "approve": "", "seen": proposal["mark"] }), 422),
        (
            json!({ "approve": "far too long", "seen": proposal["mark"] }),
            422,
        ),
        (json!({ "approve": null, "rules": "x" }), 400),
    ] {
        make(body).trouble(status);
    }
    {
        let other = Case::open(&case).expect("a case");
        let _held = other.write().expect("a lock");
        let trouble = make(json!({ "approve": "AB", "seen": proposal["mark"] })).trouble(409);
        assert!(words(&trouble).starts_with("Another program is writing into this case"));
    }
    // What is not saved is named, and not passed over.
    let edit =
        json!({ "photo": 0, "landmark": "elbow_right", "from": null, "to": at(300.0, 200.0) });
    browser.get("/api/visits/v2").json();
    let moved = browser.post("/api/visits/v2/edits", &edit).json();
    let trouble = make(json!({ "approve": null })).trouble(409);
    assert_eq!(words(&trouble), "Not saved so far: follow-up, 2026-04-28.");
    let save = json!({ "revision": moved["revision"] });
    browser.post("/api/visits/v2/save", &save).json();
    // The moved point is part of what has to be looked at.
    make(json!({ "approve": "AB", "seen": proposal["mark"] })).trouble(409);
    assert!(!home.exists());
    // Nor is passed over what was changed by hand, or written by another program since.
    let record = case.join("visits/2026-04-28-follow-up/record.json");
    let saved = fs::read(&record).expect("a record");
    fs::write(&record, [&saved[..], b"\n"].concat()).expect("written");
    let trouble = make(json!({ "approve": null })).trouble(409);
    assert!(words(&trouble).starts_with("This is not as it was filed"));
    tragus::case::accept(&case).expect("a case");
    let trouble = make(json!({ "approve": null })).trouble(409);
    assert!(words(&trouble).contains("wrote the record of 2026-04-28-follow-up"));
    fs::write(&record, saved).expect("written");
    tragus::case::accept(&case).expect("a case");

    let seen = propose()["mark"].clone();
    let approved = make(json!({ "approve": "AB", "seen": seen })).json();
    assert_eq!(
        approved["plan"]["approved"],
        json!({ "initials": "AB", "on": TODAY })
    );
    assert_eq!(
        approved["sheets"],
        json!({ "plan": true, "home": true, "hold": false })
    );
    for (sheet, says) in [
        ("plan", "approved by AB on 2026-05-11"),
        ("home", "Your stop line"),
    ] {
        let answer = browser.get(&format!("/api/case/sheets/{sheet}"));
        let policy = answer.header("content-security-policy").to_owned();
        assert!(
            policy.starts_with("default-src 'none'; style-src 'unsafe-inline'; img-src data:;")
        );
        let html = answer.text();
        assert!(html.contains(says) && !html.contains("<script"), "{sheet}");
    }
    is_printed(&browser, &case, "home");
    browser.get("/api/case/sheets/hold.pdf").trouble(404);
    // The same as the command makes.
    let kept = fs::read_to_string(case.join(format!("plans/{TODAY}.json"))).expect("a plan");
    let again = assert_cmd::Command::cargo_bin("tragus")
        .expect("the program")
        .env_remove("ORT_DYLIB_PATH")
        .arg("plan")
        .arg(&case)
        .args(["--date", TODAY, "--format", "json"])
        .output()
        .expect("a run");
    let again: Value = serde_json::from_slice(&again.stdout).expect("JSON");
    let mut kept: Value = serde_json::from_str(&kept).expect("JSON");
    kept["approved"] = Value::Null;
    // The command reads what was saved from its record, where numbers are rounded.
    let mut again = again;
    for plan in [&mut kept, &mut again] {
        plan["goals"] = Value::Null;
    }
    assert_eq!(kept, again);
    assert!(!home.exists(), "the command made a proposal of it");

    let approve = || {
        let seen = propose()["mark"].clone();
        make(json!({ "approve": "AB", "seen": seen })).json()
    };
    approve();
    // It is not taken back unasked.
    let trouble = make(json!({ "approve": null })).trouble(409);
    assert!(words(&trouble).contains("approved by AB on 2026-05-11"));
    let anew = make(json!({ "approve": null, "anew": true })).json();
    assert_eq!(
        (&anew["plan"]["approved"], &anew["sheets"]["home"]),
        (&Value::Null, &json!(false))
    );
    approve();
    // A save that is refused takes nothing back; one that is not takes it back.
    let edit = json!({ "photo": 0, "landmark": "elbow_right", "from": at(300.0, 200.0), "to": at(301.0, 200.0) });
    let moved = browser.post("/api/visits/v2/edits", &edit).json();
    let save = json!({ "revision": moved["revision"] });
    let saved = fs::read(&record).expect("a record");
    fs::write(&record, "another program's").expect("written");
    browser.post("/api/visits/v2/save", &save).trouble(409);
    assert!(home.exists());
    browser.get("/api/case/sheets/home").text();
    fs::write(&record, saved).expect("written");
    browser.post("/api/visits/v2/save", &save).json();
    assert!(!home.exists());
    browser.get("/api/case/sheets/home").trouble(404);

    approve();
    let print = case.join(format!("plans/{TODAY}-home.pdf"));
    let whole = fs::read(&print).expect("a sheet");
    fs::write(&print, [&whole[..], b"x"].concat()).expect("a sheet");
    browser.get("/api/case/sheets/home.pdf").trouble(409);
    // A sheet that was changed since is not given out.
    let sheet = fs::read_to_string(&home).expect("a sheet");
    fs::write(&home, sheet.replace("No higher.", "Higher.")).expect("a sheet");
    let trouble = browser.get("/api/case/sheets/home").trouble(409);
    assert!(
        words(&trouble).contains("not as it was written"),
        "{trouble}"
    );
    // New answers, and the plan by the old ones is none any more.
    let told = screen(&filled(&browser));
    assert_eq!(told["no_longer_approved"]["initials"], "AB");
    assert_eq!(
        told["sheets"],
        json!({ "plan": false, "home": false, "hold": false })
    );
    assert!(!home.exists());
    assert!(is_listed_whole(&case, &format!("screenings/{TODAY}.json")));
}

#[test]
fn a_visit_that_was_begun_in_the_page_is_filed_in_the_case() {
    let folder = tempfile::tempdir().expect("a folder");
    let (case, browser) = serve_case(&folder);
    let mut limited = filled(&browser);
    limited["arm_limit"] = json!({ "value": 80 });
    browser.post("/api/case/screening", &limited).json();
    let begin = |label: Value, day: &str| {
        let visit = browser
            .post("/api/visits", &json!({ "label": label, "date": day }))
            .json();
        assert_eq!(visit["may_file"], true);
        format!("/api/visits/{}", visit["id"].as_str().expect("an id"))
    };
    let file = |path: &str, revision: &Value| {
        browser.post(&format!("{path}/file"), &json!({ "revision": revision }))
    };
    let visits = || fs::read_dir(case.join("visits")).expect("a folder").count();
    let add = |path: &str, name: &str| {
        let visit = browser
            .photo(&format!("{path}/photos"), name, &reach())
            .json();
        visit["revision"].clone()
    };

    let empty = begin(json!("week 12"), TODAY);
    file(&empty, &json!(1)).trouble(422);
    for (label, day, name, why) in [
        (Value::Null, TODAY, "reach.jpg", "its day and a name"),
        (json!("week 12"), "2026-05-12", "reach.jpg", "still to come"),
        (
            json!("week 12"),
            TODAY,
            "visit.json",
            "would not be known for a photo",
        ),
        (
            json!("Follow-up!"),
            "2026-04-28",
            "reach.jpg",
            "filed already",
        ),
    ] {
        let path = begin(label, day);
        let revision = add(&path, name);
        let trouble = file(&path, &revision);
        let trouble = trouble.trouble(if why == "filed already" { 409 } else { 422 });
        assert!(words(&trouble).contains(why), "{trouble}");
    }
    file("/api/visits/v1", &json!(1)).trouble(409);
    file("/api/visits/v77", &json!(1)).trouble(404);

    let revision = add(&empty, "reach.jpg");
    file(&empty, &json!(1)).trouble(409);
    {
        let other = Case::open(&case).expect("a case");
        let _held = other.write().expect("a lock");
        let trouble = file(&empty, &revision).trouble(409);
        assert!(words(&trouble).starts_with("Another program is writing into this case"));
        assert_eq!(trouble["visit"]["folder"], Value::Null);
    }
    assert_eq!(visits(), 2);
    let filed = file(&empty, &revision).json();
    assert_eq!(
        (
            &filed["folder"],
            &filed["saved"],
            &filed["in_case"],
            &filed["may_file"]
        ),
        (
            &json!("2026-05-11-week-12"),
            &json!(true),
            &json!(true),
            &json!(false)
        )
    );
    // What the case knows: stature and side of earlier visits, the limit of today's screening.
    for (fact, value) in [
        ("case", json!("demo-01")),
        ("stature_cm", json!(164.0)),
        ("operated_side", json!("right")),
        ("arm_limit_deg", json!(80.0)),
    ] {
        assert_eq!(filed["facts"][fact], value, "{fact}");
    }
    let at = case.join("visits/2026-05-11-week-12");
    let bare = Bare::of(&reach(), Limits::default()).expect("a photo");
    assert_eq!(
        fs::read(at.join("reach.jpg")).expect("the photo"),
        bare.bytes()
    );
    let kept = fs::read_to_string(at.join("record.json")).expect("a record");
    let kept = record::visit_from_json(&kept).expect("a record");
    assert_eq!(kept.facts.arm_limit_deg, None, "it stays the screening's");
    assert!(is_listed_whole(
        &case,
        "visits/2026-05-11-week-12/reach.jpg"
    ));
    // It goes on as any visit of the case: reviewed, saved, and part of the plan.
    let edit = json!({ "photo": 0, "landmark": "elbow_right", "from": null, "to": json!({ "x": 300.0, "y": 200.0 }) });
    let moved = browser.post(&format!("{empty}/edits"), &edit).json();
    let save = json!({ "revision": moved["revision"] });
    browser.post(&format!("{empty}/save"), &save).json();
    assert!(is_listed_whole(
        &case,
        "visits/2026-05-11-week-12/record.json"
    ));
    let titles: Vec<String> = browser.get("/api/case").json()["visits"]
        .as_array()
        .expect("visits")
        .iter()
        .map(|visit| visit["title"].as_str().expect("a title").to_owned())
        .collect();
    assert_eq!(
        titles.last().map(String::as_str),
        Some("week 12, 2026-05-11")
    );
}

/// The day that the photos say is told for a person to take, also of a photo that is filed without it.
#[test]
fn the_day_that_sent_photos_say_is_offered_and_never_taken() {
    let folder = tempfile::tempdir().expect("a folder");
    let (_, in_case) = serve_case(&folder);
    let plain = serve(&[], &folder.path().join("diary.json")).browser();
    for browser in [in_case, plain] {
        let begin = |facts: Value| {
            let visit = browser.post("/api/visits", &facts).json();
            assert_eq!(visit["photos_say"]["day"], Value::Null);
            format!("/api/visits/{}", visit["id"].as_str().expect("an id"))
        };
        let add = |path: &str, day: &str| {
            let photo = crate::phone_folders::taken_on(day);
            let path = format!("{path}/photos");
            browser.photo(&path, "front.jpg", &photo).json()
        };
        let doubt = |visit: &Value| visit["photos_say"]["doubts"].to_string();
        let path = begin(json!({ "label": "week 8" }));
        let visit = add(&path, "2026:05:05");
        assert_eq!(visit["photos_say"]["day"], "2026-05-05");
        assert_eq!(visit["photos_say"]["words"], "The photos say 5 May 2026.");
        assert_eq!(visit["facts"]["date"], Value::Null);
        assert_eq!(doubt(&visit), "[]");
        // It outlives a stature, with which the photos are looked at again.
        let from = json!({ "label": "week 8" });
        let to = json!({ "label": "week 8", "stature_cm": 164, "from": from });
        let visit = browser.put(&format!("{path}/facts"), &to).json();
        assert_eq!(visit["photos_say"]["day"], "2026-05-05");
        let visit = add(&path, "2026:03:10");
        assert_eq!(visit["photos_say"]["day"], Value::Null);
        assert!(doubt(&visit).contains("Are they of one visit?"));

        let path = begin(json!({ "date": "2026-05-06" }));
        let visit = add(&path, "2026:05:05");
        assert_eq!(visit["photos_say"]["day"], Value::Null);
        assert!(doubt(&visit).contains("Which is right?"));
        let visit = add(&begin(json!({})), "2031:05:05");
        assert_eq!(visit["photos_say"]["day"], Value::Null);
        assert!(doubt(&visit).contains("still to come"));
    }
}

/// Photos take a moment each to decode: whoever asks meanwhile is answered.
#[test]
fn while_a_visit_is_filed_others_are_answered() {
    let folder = tempfile::tempdir().expect("a folder");
    let (_, browser) = serve_case(&folder);
    let mut photo = std::io::Cursor::new(Vec::new());
    image::RgbImage::from_pixel(7000, 7000, [120; 3].into())
        .write_to(&mut photo, image::ImageFormat::Jpeg)
        .expect("a photo");
    let begun = json!({ "label": "large", "date": TODAY });
    let visit = browser.post("/api/visits", &begun).json();
    let path = format!("/api/visits/{}", visit["id"].as_str().expect("an id"));
    let mut revision = Value::Null;
    for name in ["1.jpg", "2.jpg", "3.jpg"] {
        let sent = browser.photo(&format!("{path}/photos"), name, photo.get_ref());
        revision = sent.json()["revision"].clone();
    }
    let filing = browser.clone();
    let started = std::time::Instant::now();
    let filing = std::thread::spawn(move || {
        let save = json!({ "revision": revision });
        filing.post(&format!("{path}/file"), &save).json();
        started.elapsed()
    });
    let mut longest = Duration::ZERO;
    while !filing.is_finished() {
        let asked = std::time::Instant::now();
        browser.get("/api/visits").json();
        longest = longest.max(asked.elapsed());
    }
    let all = filing.join().expect("filed");
    assert!(longest < all / 2, "{longest:?} of {all:?}");
}

/// Words that a camera might have written into a photo, sent with it, are in no answer and in no file.
#[test]
fn nothing_that_a_camera_wrote_is_answered_or_filed() {
    let folder = tempfile::tempdir().expect("a folder");
    let (case, browser) = serve_case(&folder);
    browser
        .post("/api/case/screening", &filled(&browser))
        .json();
    let photo = planted::jpeg(&reach(), 1);
    let told = |answer: Answer| {
        assert_eq!(answer.status, 200);
        let bytes = answer.bytes();
        assert!(!planted::shows(&bytes));
        bytes
    };
    let value = |answer: Answer| -> Value { serde_json::from_slice(&told(answer)).expect("JSON") };
    let begun = json!({ "label": "week 12", "date": TODAY });
    let visit = value(browser.post("/api/visits", &begun));
    let path = format!("/api/visits/{}", visit["id"].as_str().expect("an id"));
    let visit = value(browser.photo(&format!("{path}/photos"), "reach.jpg", &photo));
    told(browser.get(&format!("{path}/photos/0/picture")));
    let check = value(browser.photo("/api/checks", "reach.jpg", &photo));
    told(browser.get(check["picture"].as_str().expect("a picture")));
    let filed = json!({ "revision": visit["revision"] });
    value(browser.post(&format!("{path}/file"), &filed));
    value(browser.get("/api/case"));
    let visits = json!({ "visits": ["v1", "v2", visit["id"]] });
    let compared = value(browser.post("/api/comparisons", &visits));
    told(browser.get(compared["report"].as_str().expect("a report")));
    let at = case.join("visits/2026-05-11-week-12");
    for entry in fs::read_dir(&at).expect("the visit") {
        let path = entry.expect("an entry").path();
        assert!(
            !planted::shows(&fs::read(&path).expect("a file")),
            "{path:?}"
        );
    }
    assert!(is_listed_whole(
        &case,
        "visits/2026-05-11-week-12/reach.jpg"
    ));
}

#[test]
fn a_new_limit_reaches_the_visits_that_are_open_and_none_is_kept_against_the_screening() {
    let folder = tempfile::tempdir().expect("a folder");
    let (case, browser) = serve_case(&folder);
    let path = "/api/visits/v2";
    let limit = || browser.get(path).json()["facts"]["arm_limit_deg"].clone();
    assert_eq!(limit(), Value::Null);
    // The visit moves to today, whose screening sets a limit.
    let facts = browser.get(path).json()["facts"].clone();
    let from = json!({ "label": facts["label"], "date": facts["date"],
        "stature_cm": facts["stature_cm"], "operated_side": facts["operated_side"] });
    let mut to = from.clone();
    to["date"] = json!(TODAY);
    to["from"] = from;
    browser.put(&format!("{path}/facts"), &to).json();
    let mut limited = filled(&browser);
    limited["arm_limit"] = json!({ "value": 70 });
    browser.post("/api/case/screening", &limited).json();
    assert_eq!(limit(), 70.0);
    let notices = browser.get(path).json()["notices"].to_string();
    assert!(notices.contains("70"), "{notices}");
    // Another screening sets another: the visit itself was never told one.
    let mut higher = filled(&browser);
    higher["arm_limit"] = json!({ "value": 95 });
    browser.post("/api/case/screening", &higher).json();
    assert_eq!(limit(), 95.0);
    assert!(case.join(format!("screenings/{TODAY}.json")).is_file());
    let visit = browser.get(path).json();
    let save = json!({ "revision": visit["revision"] });
    browser.post(&format!("{path}/save"), &save).json();
    let name = visit["folder"].as_str().expect("a folder");
    let record = fs::read_to_string(case.join("visits").join(name).join("record.json"));
    let kept = record::visit_from_json(&record.expect("a record")).expect("a record");
    assert_eq!(kept.facts.arm_limit_deg, None);
}

/// A folder of a visit outlasts its case where somebody put something else into it.
#[test]
fn a_case_that_was_forgotten_is_not_written_into_by_the_page() {
    let folder = tempfile::tempdir().expect("a folder");
    let (case, browser) = serve_case(&folder);
    let visit = browser.get("/api/visits/v2").json();
    let name = visit["folder"].as_str().expect("a folder");
    let left = case.join("visits").join(name).join("notes.txt");
    fs::write(&left, "not the case's").expect("a file");
    assert_cmd::Command::cargo_bin("tragus")
        .expect("the program")
        .arg("forget")
        .arg(&case)
        .args(["--yes", "demo-01"])
        .assert()
        .code(1);
    let save = json!({ "revision": visit["revision"] });
    let trouble = browser.post("/api/visits/v2/save", &save).trouble(409);
    assert!(words(&trouble).contains("not there any more"), "{trouble}");
    let record = left.with_file_name("record.json");
    assert!(left.exists() && !record.exists());
}

#[test]
fn the_command_serves_a_case() {
    let folder = tempfile::tempdir().expect("a folder");
    let case = case_in(folder.path());
    // One whose photos are lost hides nothing else.
    let lost = case.join("visits/2026-03-10-intake");
    let record = r#"{"schema":"other"}"#;
    fs::write(lost.join("record.json"), record).expect("a file");
    fs::remove_file(lost.join("side-reach.jpg")).expect("removed");
    let program = Program::start(&[&case], &folder.path().join("d.json"));
    let browser = Browser::open(&program.address);
    let told = browser.get("/api/case").json();
    assert_eq!(told["code"], "demo-01");
    assert_eq!(told["visits"].as_array().expect("visits").len(), 2);
    let visit = browser.get("/api/visits/v2").json();
    assert_eq!(visit["facts"]["label"], "follow-up");
}
