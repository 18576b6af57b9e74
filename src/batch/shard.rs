//! One of several equal parts of a list of photos, the same part on every machine.

use std::fmt;
use std::str::FromStr;

use crate::checksum;

/// Part `part` of `of`, counted from 1.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Shard {
    part: u64,
    of: u64,
}

impl Shard {
    pub const WHOLE: Shard = Shard { part: 1, of: 1 };

    /// Whether a photo belongs to this part. That depends on its name alone, not on which other
    /// photos there are.
    pub fn holds(self, photo: &str) -> bool {
        let hash = checksum::sha256(photo.as_bytes());
        let first = u64::from_str_radix(&hash[..16], 16).expect("hexadecimal digits");
        first % self.of == self.part - 1
    }
}

impl FromStr for Shard {
    type Err = String;

    fn from_str(text: &str) -> Result<Shard, String> {
        let parts = text
            .split_once('/')
            .and_then(|(part, of)| Some((part.trim().parse().ok()?, of.trim().parse().ok()?)));
        match parts {
            Some((part, of)) if (1..=of).contains(&part) => Ok(Shard { part, of }),
            _ => Err("expected K/N with K from 1 to N, such as 2/8".to_owned()),
        }
    }
}

impl fmt::Display for Shard {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}/{}", self.part, self.of)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_photo_is_in_one_part() {
        let parts: Vec<Shard> = (1..=5)
            .map(|part| format!("{part}/5").parse().unwrap())
            .collect();
        let mut sizes = [0; 5];
        for number in 0..1000 {
            let photo = format!("person-{number}/side.jpg");
            let holding: Vec<usize> = (0..5).filter(|&i| parts[i].holds(&photo)).collect();
            assert_eq!(holding.len(), 1, "{photo}");
            sizes[holding[0]] += 1;
        }
        assert!(
            sizes.iter().all(|size| (150..250).contains(size)),
            "{sizes:?}"
        );
        assert!(Shard::WHOLE.holds("anything"));
    }

    /// The parts must be the same on every machine and in every later version: SHA-256 of the
    /// name, its first eight bytes as a number, modulo N.
    #[test]
    fn the_parts_never_change() {
        // printf a.jpg | sha256sum begins with 0x509b0d4641a7c3ba.
        let expected = 0x509b_0d46_41a7_c3ba_u64 % 7 + 1;
        let shard: Shard = format!("{expected}/7").parse().unwrap();
        assert!(shard.holds("a.jpg"));
    }

    #[test]
    fn what_is_no_part_is_refused() {
        for text in ["0/3", "4/3", "3", "a/b", "1/0", ""] {
            assert!(text.parse::<Shard>().is_err(), "{text}");
        }
    }
}
