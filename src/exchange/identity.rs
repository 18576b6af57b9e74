//! Names for resources that are the same whenever the same thing is written.

use crate::checksum;

/// The project's own name space, drawn at random once.
const NAMESPACE: [u8; 16] = [
    0x5b, 0x0e, 0x6e, 0x43, 0x9c, 0x1a, 0x4d, 0x27, 0x8f, 0x52, 0x31, 0xd7, 0xa4, 0x60, 0xbe, 0x19,
];

/// The identifier of what goes by these parts together.
pub fn uuid(parts: &[&str]) -> String {
    // The lengths keep ("a", "bc") and ("ab", "c") apart.
    let name: String = parts
        .iter()
        .map(|part| format!("{}:{part};", part.len()))
        .collect();
    uuid_in(NAMESPACE, &name)
}

/// The same as an identifier of DICOM (PS3.5, B.2): the number that the UUID is, below 2.25.
pub fn uid(parts: &[&str]) -> String {
    let digits = uuid(parts).replace('-', "");
    let number = u128::from_str_radix(&digits, 16).expect("a UUID is a number of 32 digits");
    format!("2.25.{number}")
}

/// A UUID of version 8 out of a name by SHA-256, as RFC 9562 shows it in its appendix B.2.
fn uuid_in(namespace: [u8; 16], name: &str) -> String {
    let hash = checksum::sha256(&[namespace.as_slice(), name.as_bytes()].concat());
    let variant = hash.as_bytes()[16];
    let variant = match variant {
        b'0' | b'4' | b'8' | b'c' => '8',
        b'1' | b'5' | b'9' | b'd' => '9',
        b'2' | b'6' | b'a' | b'e' => 'a',
        _ => 'b',
    };
    format!(
        "{}-{}-8{}-{variant}{}-{}",
        &hash[..8],
        &hash[8..12],
        &hash[13..16],
        &hash[17..20],
        &hash[20..32]
    )
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The name space of domain names and the result are those of RFC 9562, appendix B.2.
    #[test]
    fn the_example_of_the_standard_comes_out() {
        let domain_names = [
            0x6b, 0xa7, 0xb8, 0x10, 0x9d, 0xad, 0x11, 0xd1, 0x80, 0xb4, 0x00, 0xc0, 0x4f, 0xd4,
            0x30, 0xc8,
        ];
        assert_eq!(
            uuid_in(domain_names, "www.example.com"),
            "5c146b14-3c52-8afd-938a-375d0df1fbf6"
        );
    }

    /// No longer than DICOM allows, and without leading zeros.
    #[test]
    fn an_identifier_of_dicom_is_the_number_of_the_uuid() {
        for part in ["a", "b", "c"] {
            let uid = uid(&[part]);
            let number: u128 = uid.strip_prefix("2.25.").unwrap().parse().unwrap();
            assert_eq!(format!("{number:032x}"), uuid(&[part]).replace('-', ""));
            assert!(uid.len() <= 64);
        }
    }

    #[test]
    fn parts_are_told_apart() {
        assert_ne!(uuid(&["a", "bc"]), uuid(&["ab", "c"]));
        assert_eq!(uuid(&["a", "bc"]), uuid(&["a", "bc"]));
    }
}
