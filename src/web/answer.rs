//! What the server answers: values as JSON, and troubles in plain words.

use axum::Json;
use axum::http::StatusCode;
use axum::response::{IntoResponse, Response};
use serde_json::{Value, json};

use crate::case::CaseError;
use crate::episode::NotKept;
use crate::report::words::capitalised;

/// How a request went.
pub type Answer = Result<Response, Trouble>;

/// Something that could not be done: what, and what to do about it.
#[derive(Debug)]
pub struct Trouble {
    status: StatusCode,
    error: String,
    hint: String,
    /// The visit as it is, where that is news to whoever asked.
    visit: Option<Value>,
}

impl Trouble {
    pub fn new(status: StatusCode, error: impl Into<String>, hint: impl Into<String>) -> Trouble {
        Trouble {
            status,
            error: error.into(),
            hint: hint.into(),
            visit: None,
        }
    }

    /// What was asked for is not there.
    pub fn gone(what: &str) -> Trouble {
        Trouble::new(
            StatusCode::NOT_FOUND,
            format!("There is no such {what} here."),
            "Go back and open it again from its list.",
        )
    }

    /// What was sent can't be used.
    pub fn unusable(error: impl Into<String>, hint: impl Into<String>) -> Trouble {
        Trouble::new(StatusCode::UNPROCESSABLE_ENTITY, error, hint)
    }

    /// Something else happened meanwhile.
    pub fn conflict(error: impl Into<String>, hint: impl Into<String>) -> Trouble {
        Trouble::new(StatusCode::CONFLICT, error, hint)
    }

    /// A fault of the program itself.
    pub fn fault(error: impl std::fmt::Display) -> Trouble {
        Trouble::new(
            StatusCode::INTERNAL_SERVER_ERROR,
            format!("Something went wrong in the program: {error}."),
            "Try again. If it happens again, stop tragus and start it anew.",
        )
    }

    pub fn with_visit(self, visit: Value) -> Trouble {
        Trouble {
            visit: Some(visit),
            ..self
        }
    }

    pub fn status(&self) -> StatusCode {
        self.status
    }

    pub fn error(&self) -> &str {
        &self.error
    }

    pub fn hint(&self) -> &str {
        &self.hint
    }
}

impl From<CaseError> for Trouble {
    fn from(error: CaseError) -> Trouble {
        let sentence = |words: &str| format!("{}.", capitalised(words));
        Trouble::conflict(sentence(&error.to_string()), sentence(error.hint()))
    }
}

impl From<NotKept> for Trouble {
    fn from(error: NotKept) -> Trouble {
        match error {
            NotKept::Case(error) => error.into(),
            error => Trouble::conflict(
                format!("{}.", capitalised(&error.to_string())),
                "Nothing was kept, and no sheet goes home. Make the plan again; if this happens again, stop \
                 tragus, start it anew and make the plan once more. Write the sentence above down for whoever \
                 looks after the program.",
            ),
        }
    }
}

impl IntoResponse for Trouble {
    fn into_response(self) -> Response {
        let mut body = json!({ "error": self.error, "hint": self.hint });
        if let Some(visit) = self.visit {
            body["visit"] = visit;
        }
        (self.status, Json(body)).into_response()
    }
}

/// A value as an answer.
pub fn json(value: Value) -> Answer {
    Ok(Json(value).into_response())
}

/// Bytes of a kind, as an answer.
pub fn bytes(kind: &'static str, bytes: Vec<u8>) -> Answer {
    Ok(([(axum::http::header::CONTENT_TYPE, kind)], bytes).into_response())
}
