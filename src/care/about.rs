//! Who a case is about: a code, and what norms go by.

/// Never a name.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct About {
    pub code: String,
    pub birth_year: Option<i16>,
    /// As the published norms divide people.
    pub sex: Option<Sex>,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Sex {
    Female,
    Male,
}

impl Sex {
    pub const fn name(self) -> &'static str {
        match self {
            Sex::Female => "female",
            Sex::Male => "male",
        }
    }

    pub fn from_name(name: &str) -> Option<Sex> {
        [Sex::Female, Sex::Male]
            .into_iter()
            .find(|sex| sex.name() == name)
    }
}
