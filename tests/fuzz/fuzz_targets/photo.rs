//! Bytes taken for a photo: read whole, reduced, and as far as a crop needs it.

#![no_main]

use libfuzzer_sys::fuzz_target;
use tragus::photo::{Limits, Photo};

/// Small pictures, so that many are tried.
const LIMITS: Limits = Limits {
    bytes: 1 << 20,
    pixels: 1 << 20,
};

fuzz_target!(|bytes: &[u8]| {
    let whole = Photo::decode(bytes, LIMITS);
    let size = |photo: &Photo| (photo.width(), photo.height());
    if let Ok(whole) = &whole {
        assert_eq!(size(whole), whole.upright().dimensions());
        if let Some(mm) = whole.tags().focal_35mm {
            assert!((8.0..=400.0).contains(&mm), "a lens of {mm} mm");
        }
    }
    for smaller in [
        Photo::decode_reduced(bytes, LIMITS),
        Photo::decode_for(bytes, LIMITS, 8.0),
    ] {
        match (&whole, &smaller) {
            (Ok(whole), Ok(smaller)) => assert_eq!(size(whole), size(smaller)),
            (Err(_), Err(_)) => {}
            _ => panic!("whole and reduced, one is read and the other is not"),
        }
    }
});
