//! The days that photos say they were taken on: offered, never taken for true by themselves. A camera
//! whose clock was never set, or a copy that was saved later, says a wrong one.

use std::collections::BTreeMap;

use jiff::ToSpan;
use jiff::civil::{Date, date};

/// No photo that is measured is older: a clock that was not set says so.
const FIRST_DAY: Date = date(2000, 1, 1);

/// The days of a visit's photos, with the first photo of each.
#[derive(Debug, Default)]
pub struct Days(BTreeMap<Date, String>);

impl Days {
    /// Of photos by name, each with the day that it says, if it says one.
    pub fn of<'a>(photos: impl IntoIterator<Item = (&'a str, Option<Date>)>) -> Days {
        let mut days = BTreeMap::new();
        for (name, day) in photos {
            if let Some(day) = day {
                days.entry(day).or_insert_with(|| name.to_owned());
            }
        }
        Days(days)
    }

    fn credible(&self, today: Date) -> impl DoubleEndedIterator<Item = (Date, &str)> {
        let days = self.0.range(FIRST_DAY..=today.max(FIRST_DAY));
        days.map(|(day, name)| (*day, name.as_str()))
    }

    /// The day of the visit, where its photos agree on one; where they were taken around midnight, the
    /// earlier.
    pub fn offered(&self, today: Date) -> Option<Date> {
        let (first, _) = self.credible(today).next()?;
        let (last, _) = self.credible(today).next_back()?;
        (last <= next(first)).then_some(first)
    }

    /// What is odd about the days, against the one that was told.
    pub fn doubts(&self, told: Option<Date>, today: Date) -> Vec<String> {
        let mut doubts = Vec::new();
        for (day, name) in &self.0 {
            if *day < FIRST_DAY {
                doubts.push(format!(
                    "{name} says that it was taken on {}: the camera's clock was not set.",
                    words(*day)
                ));
            } else if *day > today {
                doubts.push(format!(
                    "{name} says that it was taken on {}, which is still to come: is the camera's \
                     clock right?",
                    words(*day)
                ));
            }
        }
        let mut credible = self.credible(today);
        let Some((first, first_name)) = credible.next() else {
            return doubts;
        };
        let (last, last_name) = credible.next_back().unwrap_or((first, first_name));
        if last > next(first) {
            doubts.push(format!(
                "The photos say days from {} ({first_name}) to {} ({last_name}). Are they of one visit?",
                words(first),
                words(last)
            ));
        } else if let Some(told) = told.filter(|told| !(first..=last).contains(told)) {
            doubts.push(format!(
                "The photos say {}, and the visit is dated {}. Which is right?",
                words(first),
                words(told)
            ));
        }
        doubts
    }
}

fn next(day: Date) -> Date {
    day.saturating_add(1.day())
}

/// "10 March 2026".
pub fn words(day: Date) -> String {
    day.strftime("%-d %B %Y").to_string()
}

#[cfg(test)]
mod tests {
    use super::*;

    const TODAY: Date = date(2026, 6, 1);

    fn days(days: &[Date]) -> Days {
        let names: Vec<String> = (1..=days.len()).map(|i| format!("{i}.jpg")).collect();
        let days = days.iter().copied().map(Some);
        Days::of(names.iter().map(String::as_str).zip(days))
    }

    #[test]
    fn one_day_is_offered_and_that_around_midnight() {
        let tenth = date(2026, 3, 10);
        assert_eq!(days(&[tenth, tenth]).offered(TODAY), Some(tenth));
        assert_eq!(
            days(&[date(2026, 3, 11), tenth]).offered(TODAY),
            Some(tenth)
        );
        assert!(days(&[tenth]).doubts(Some(tenth), TODAY).is_empty());
        assert_eq!(Days::of([("1.jpg", None)]).offered(TODAY), None);
    }

    #[test]
    fn photos_of_two_days_offer_none_and_say_so() {
        let two = days(&[date(2026, 3, 10), date(2026, 4, 28)]);
        assert_eq!(two.offered(TODAY), None);
        assert_eq!(
            two.doubts(None, TODAY),
            [
                "The photos say days from 10 March 2026 (1.jpg) to 28 April 2026 (2.jpg). Are they of one visit?"
            ]
        );
    }

    #[test]
    fn another_day_than_was_told_is_said() {
        assert_eq!(
            days(&[date(2026, 3, 10)]).doubts(Some(date(2026, 5, 11)), TODAY),
            ["The photos say 10 March 2026, and the visit is dated 11 May 2026. Which is right?"]
        );
    }

    #[test]
    fn a_clock_that_was_never_set_or_runs_ahead_offers_nothing() {
        let wrong = days(&[date(1980, 1, 1), date(2026, 6, 2)]);
        assert_eq!(wrong.offered(TODAY), None);
        let doubts = wrong.doubts(Some(TODAY), TODAY);
        assert_eq!(doubts.len(), 2, "{doubts:?}");
        assert!(doubts[0].contains("1 January 1980") && doubts[1].contains("still to come"));
        // One that is right beside them is enough.
        let day = date(2026, 3, 10);
        assert_eq!(days(&[date(1980, 1, 1), day]).offered(TODAY), Some(day));
    }
}
