//! What a request carries: read within a size and a time.

use std::sync::Arc;
use std::time::Duration;

use axum::body::Body;
use axum::extract::{FromRequest, Request};
use axum::http::{HeaderMap, StatusCode};
use http_body_util::BodyExt;
use percent_encoding::percent_decode_str;
use serde::de::DeserializeOwned;
use tokio::sync::OwnedSemaphorePermit;

use super::Shared;
use super::answer::Trouble;

/// Larger files hold no photo that is looked at.
const LARGEST_PHOTO: usize = 60 << 20;
const LARGEST_JSON: usize = 64 << 10;
pub(super) const LARGEST_GLIMPSE: usize = 2 << 20;
/// From this machine to itself even the largest photo takes a second.
const PATIENCE: Duration = Duration::from_secs(60);

/// A photo that was sent, with the room that it takes up until it was dealt with.
pub struct Upload {
    pub bytes: Vec<u8>,
    /// As the browser calls it, without folders.
    pub file: String,
    _place: OwnedSemaphorePermit,
}

impl FromRequest<Arc<Shared>> for Upload {
    type Rejection = Trouble;

    async fn from_request(request: Request, shared: &Arc<Shared>) -> Result<Upload, Trouble> {
        let place = shared.uploads.clone().try_acquire_owned().map_err(|_| {
            Trouble::new(
                StatusCode::SERVICE_UNAVAILABLE,
                "Several photos are being looked at already.",
                "Wait until they are done, then send this one again.",
            )
        })?;
        let file = file_name(request.headers());
        let hint = "Save the photo at 12 megapixels or less, and send it again.";
        let bytes = read(request.into_body(), LARGEST_PHOTO, hint).await?;
        Ok(Upload {
            bytes,
            file,
            _place: place,
        })
    }
}

/// A small picture of a running camera.
pub struct Glimpse(pub Vec<u8>);

impl<S: Sync> FromRequest<S> for Glimpse {
    type Rejection = Trouble;

    async fn from_request(request: Request, _: &S) -> Result<Glimpse, Trouble> {
        let hint = "Take the photo as usual: it is looked at by itself.";
        let bytes = read(request.into_body(), LARGEST_GLIMPSE, hint).await?;
        Ok(Glimpse(bytes))
    }
}

/// A value that was sent as JSON.
pub struct Sent<T>(pub T);

impl<T: DeserializeOwned, S: Sync> FromRequest<S> for Sent<T> {
    type Rejection = Trouble;

    async fn from_request(request: Request, _: &S) -> Result<Sent<T>, Trouble> {
        let hint = "Write less, and send it again.";
        let bytes = read(request.into_body(), LARGEST_JSON, hint).await?;
        serde_json::from_slice(&bytes).map(Sent).map_err(|error| {
            Trouble::new(
                StatusCode::BAD_REQUEST,
                format!("What the page sent was not understood: {error}."),
                "Reload the page.",
            )
        })
    }
}

/// All of a body; `hint` is for whoever sent too much. One that is too large is read to its end and dropped on the way: a browser tells
/// the answer only after it could send everything.
async fn read(body: Body, limit: usize, hint: &str) -> Result<Vec<u8>, Trouble> {
    let all = async {
        let (mut body, mut bytes, mut length) = (body, Vec::new(), 0);
        while let Some(frame) = body.frame().await {
            let frame = frame.map_err(|_| {
                Trouble::new(
                    StatusCode::BAD_REQUEST,
                    "What was sent broke off on the way.",
                    "Send it again.",
                )
            })?;
            let Ok(data) = frame.into_data() else {
                continue;
            };
            length += data.len();
            match length <= limit {
                true => bytes.extend_from_slice(&data),
                false => bytes = Vec::new(),
            }
        }
        if length > limit {
            return Err(Trouble::new(
                StatusCode::PAYLOAD_TOO_LARGE,
                format!("This is more than the {} that are taken.", size(limit)),
                hint,
            ));
        }
        Ok(bytes)
    };
    tokio::time::timeout(PATIENCE, all)
        .await
        .unwrap_or_else(|_| {
            Err(Trouble::new(
                StatusCode::REQUEST_TIMEOUT,
                "It took too long to arrive.",
                "Send it again.",
            ))
        })
}

fn size(bytes: usize) -> String {
    match bytes >> 20 {
        0 => format!("{} kB", bytes >> 10),
        mb => format!("{mb} MB"),
    }
}

/// In bytes: file systems hold twice that, and a second name of the kind needs some more.
const LONGEST_NAME: usize = 120;

/// The name of a file that was sent. It is a label: nothing is ever opened by it. What comes before
/// the last slash, and what a terminal or a page would obey, is left out.
fn file_name(headers: &HeaderMap) -> String {
    let said = headers
        .get("x-file-name")
        .and_then(|name| name.to_str().ok())
        .map(|name| percent_decode_str(name).decode_utf8_lossy().into_owned())
        .unwrap_or_default();
    let last = said.rsplit(['/', '\\']).next().unwrap_or_default();
    let plain: String = last.chars().filter(|c| !c.is_control()).collect();
    match plain.trim_matches([' ', '.']) {
        "" => "photo.jpg".to_owned(),
        name => shortened(name),
    }
}

/// A long name is cut before its ending, which says what the file is.
fn shortened(name: &str) -> String {
    if name.len() <= LONGEST_NAME {
        return name.to_owned();
    }
    let ending = name.rfind('.').filter(|at| name.len() - at <= 10);
    let (stem, ending) = name.split_at(ending.unwrap_or(name.len()));
    let room = LONGEST_NAME - ending.len();
    let end = (0..=room).rev().find(|at| stem.is_char_boundary(*at));
    format!("{}{ending}", &stem[..end.unwrap_or(0)])
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_name_is_a_label_and_no_path() {
        let name = |said: &str| {
            let mut headers = HeaderMap::new();
            headers.insert("x-file-name", said.parse().expect("a header"));
            file_name(&headers)
        };
        assert_eq!(name("side%20reach.jpg"), "side reach.jpg");
        assert_eq!(name("..%2F..%2Fetc%2Fpasswd"), "passwd");
        assert_eq!(name("C:\\photos\\a.jpg"), "a.jpg");
        assert_eq!(name(".."), "photo.jpg");
        assert_eq!(name("a%00%1b[31m.jpg"), "a[31m.jpg");
        assert_eq!(name("%ff"), "\u{fffd}");
        assert_eq!(file_name(&HeaderMap::new()), "photo.jpg");
        let long = name(&("%C3%A4".repeat(200) + ".jpeg"));
        assert!(long.starts_with('ä') && long.ends_with("ä.jpeg"), "{long}");
        assert!((110..=LONGEST_NAME).contains(&long.len()), "{long}");
    }
}
