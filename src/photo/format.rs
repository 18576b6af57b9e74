//! What kind of file it is, by its first bytes: of those that the usual decoder does not know.

/// A format that goes a way of its own.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Format {
    /// One of the family that phones save photos in, by its name.
    Heif(&'static str),
    /// A TIFF that may be larger than 4 GB; this one says so, whatever its size.
    BigTiff,
    Video,
}

impl Format {
    pub fn of(bytes: &[u8]) -> Option<Format> {
        const BIG_TIFF: [&[u8]; 2] = [b"II\x2b\0", b"MM\0\x2b"];
        if BIG_TIFF.iter().any(|start| bytes.starts_with(start)) {
            return Some(Format::BigTiff);
        }
        const MATROSKA: &[u8] = &[0x1a, 0x45, 0xdf, 0xa3];
        let is_avi = bytes.starts_with(b"RIFF") && bytes.get(8..12) == Some(b"AVI ");
        if bytes.starts_with(MATROSKA) || is_avi {
            return Some(Format::Video);
        }
        Format::of_brands(brands(bytes)?)
    }

    /// Of a file of the ISO base media format, by what it says to be compatible with.
    fn of_brands(brands: &[[u8; 4]]) -> Option<Format> {
        let any = |of: &[&[u8; 4]]| brands.iter().any(|brand| of.contains(&brand));
        if any(&[b"avif", b"avis"]) {
            Some(Format::Heif("AVIF"))
        } else if any(&[
            b"heic", b"heix", b"heim", b"heis", b"hevc", b"hevx", b"mif1", b"msf1",
        ]) {
            Some(Format::Heif("HEIC"))
        } else {
            Some(Format::Video)
        }
    }
}

/// The brands of a file that begins with a `ftyp` box, the main one first.
fn brands(bytes: &[u8]) -> Option<&[[u8; 4]]> {
    let (head, rest) = bytes.split_at_checked(8)?;
    let size = u32::from_be_bytes([head[0], head[1], head[2], head[3]]) as usize;
    if &head[4..] != b"ftyp" {
        return None;
    }
    let (brands, _) = rest.get(..size.checked_sub(8)?)?.as_chunks();
    Some(brands)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn starting_with(brands: &[&[u8; 4]]) -> Vec<u8> {
        let size = 8 + 4 * brands.len() as u32;
        let mut bytes = [&size.to_be_bytes(), b"ftyp".as_slice()].concat();
        bytes.extend(brands.iter().copied().flatten());
        bytes.extend(b"\0\0\0\x08free");
        bytes
    }

    #[test]
    fn photos_and_videos_of_phones_are_told_apart() {
        for (brands, format) in [
            ([b"heic", b"\0\0\0\0", b"mif1"], Format::Heif("HEIC")),
            ([b"mif1", b"\0\0\0\0", b"avif"], Format::Heif("AVIF")),
            ([b"qt  ", b"\0\0\0\0", b"qt  "], Format::Video),
            ([b"mp42", b"\0\0\0\0", b"isom"], Format::Video),
        ] {
            assert_eq!(Format::of(&starting_with(&brands)), Some(format));
        }
        assert_eq!(Format::of(b"RIFF\0\0\0\0AVI LIST"), Some(Format::Video));
        assert_eq!(Format::of(b"\x1a\x45\xdf\xa3\x01"), Some(Format::Video));
    }

    #[test]
    fn anything_else_is_left_to_the_usual_decoder() {
        for bytes in [
            b"".as_slice(),
            b"\xff\xd8\xff\xe0",
            b"RIFF\0\0\0\0WEBPVP8 ",
            // A box that is longer than the file, and one that is shorter than its head.
            b"\0\0\xff\xffftypheic",
            b"\0\0\0\x04ftypheic",
        ] {
            assert_eq!(Format::of(bytes), None, "{bytes:?}");
        }
    }
}
