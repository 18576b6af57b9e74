//! Who a case is about: a code, and what norms go by.

use super::Sex;

/// Never a name.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct About {
    pub code: String,
    pub birth_year: Option<i16>,
    /// As the published norms divide people.
    pub sex: Option<Sex>,
}
