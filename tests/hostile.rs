//! Files made to hurt, and photos that a bad card or a bad cable spoilt: each is read or refused in
//! plain words, within bounds of memory and time.

use std::fs;
use std::path::Path;
use std::process::{Child, Command, Stdio};
use std::time::{Duration, Instant};

use image::{Rgb, RgbImage};
use tempfile::TempDir;

use tragus::photo::{Limits, Photo, PhotoErrorKind};
use tragus::scores;

use crate::common::{Dice, demo};
use crate::photos::{
    EXIF_DIRECTORY, Endian, FOCAL_35MM, Field, HEIGHT_TAKEN, ORIENTATION, Tiff, WIDTH_TAKEN,
    assert_upright, camera_block, decode, hollow_png, jpeg, orientation_block, png, png_chunk,
    refused, swollen_jpeg, upright,
};

/// What the program may hold while it looks at the worst photo that it reads, MB: the nets, 100
/// megapixels of four channels as they are stored, and in the three that are used.
#[cfg(target_os = "linux")]
const MEMORY_MB: u64 = 1200;

/// What a scanline of noughts deflates to: fixed Huffman codes of one literal, then of copies of 258
/// bytes from one byte before.
fn deflated_noughts(count: usize) -> Vec<u8> {
    let mut bytes = vec![0x78, 0x9c];
    let (mut held, mut bits) = (0u32, 0);
    // Codes come with their first bit first, as they are written here.
    let mut put = |code: &str| {
        for bit in code.bytes() {
            held |= u32::from(bit - b'0') << bits;
            bits += 1;
            if bits == 8 {
                bytes.push(held as u8);
                (held, bits) = (0, 0);
            }
        }
    };
    // The last block, with fixed codes.
    put("1");
    put("10");
    let literal = "00110000";
    put(literal);
    for _ in 0..(count - 1) / 258 {
        put("11000101");
        put("00000");
    }
    for _ in 0..(count - 1) % 258 {
        put(literal);
    }
    put("0000000");
    put("0000000");
    // Of noughts Adler's sum holds only how many there are.
    bytes.extend([(count % 65_521) as u16, 1].map(u16::to_be_bytes).concat());
    bytes
}

/// A black PNG, whatever its size, of few bytes.
fn black_png(side: u32, bits: u8, colour: u8, channels: u32) -> Vec<u8> {
    let mut header = [side.to_be_bytes(), side.to_be_bytes()].concat();
    header.extend([bits, colour, 0, 0, 0]);
    let row = 1 + (u64::from(side) * u64::from(channels) * u64::from(bits)).div_ceil(8);
    let pixels = deflated_noughts((row * u64::from(side)) as usize);
    [
        b"\x89PNG\r\n\x1a\n".to_vec(),
        png_chunk(b"IHDR", &header),
        png_chunk(b"IDAT", &pixels),
        png_chunk(b"IEND", b""),
    ]
    .concat()
}

/// A TIFF that claims a size and holds no pixels.
fn hollow_tiff(width: u32, height: u32) -> Vec<u8> {
    Tiff::new(Endian::Little).finish(&[
        (0x0100, Field::Long(width)),
        (0x0101, Field::Long(height)),
        (0x0102, Field::Shorts(&[8, 8, 8])),
        (0x0103, Field::Short(1)),
        (0x0106, Field::Short(2)),
        (0x0111, Field::Long(8)),
        (0x0115, Field::Short(3)),
        (0x0116, Field::Long(height)),
        (
            0x0117,
            Field::Long(width.saturating_mul(height).saturating_mul(3)),
        ),
    ])
}

/// A lossless WebP that claims a size and holds no pixels.
fn hollow_webp(width: u32, height: u32) -> Vec<u8> {
    let size = (width - 1) | ((height - 1) << 14);
    let mut data = vec![0x2f];
    data.extend(size.to_le_bytes());
    data.extend([0; 9]);
    let chunk = [b"VP8L", &(data.len() as u32).to_le_bytes()[..], &data].concat();
    let length = 4 + chunk.len() as u32;
    [b"RIFF", &length.to_le_bytes()[..], b"WEBP", &chunk].concat()
}

/// A progressive JPEG whose last scan comes again and again.
fn scans(side: u16, more: usize) -> Vec<u8> {
    let pixels: Vec<u8> = (0..3 * usize::from(side) * usize::from(side))
        .map(|at| (at / 7 % 251) as u8)
        .collect();
    let mut bytes = Vec::new();
    let mut encoder = jpeg_encoder::Encoder::new(&mut bytes, 60);
    encoder.set_progressive(true);
    encoder.set_sampling_factor(jpeg_encoder::SamplingFactor::F_1_1);
    encoder
        .encode(&pixels, side, side, jpeg_encoder::ColorType::Rgb)
        .expect("a JPEG");
    let last = bytes.windows(2).rposition(|pair| pair == [0xff, 0xda]);
    let scan = bytes[last.expect("a scan")..bytes.len() - 2].to_vec();
    bytes.truncate(bytes.len() - 2);
    for _ in 0..more {
        bytes.extend(&scan);
    }
    bytes.extend([0xff, 0xd9]);
    bytes
}

/// Runs the program over a folder; its largest memory in MB and how long it took.
#[cfg(target_os = "linux")]
fn watched(folder: &TempDir) -> (u64, Duration) {
    let begun = Instant::now();
    let mut child = Command::new(assert_cmd::cargo::cargo_bin("tragus"))
        .env_remove("ORT_DYLIB_PATH")
        .arg("batch")
        .arg(folder.path().join("photos"))
        .arg("--out")
        .arg(folder.path().join("scores.csv"))
        .args(["--jobs", "1"])
        .stderr(Stdio::null())
        .spawn()
        .expect("the program");
    let mut peak = 0;
    while child.try_wait().expect("a child").is_none() {
        peak = peak.max(peak_mb(&child).unwrap_or_default());
        std::thread::sleep(Duration::from_millis(2));
    }
    (peak, begun.elapsed())
}

#[cfg(target_os = "linux")]
fn peak_mb(child: &Child) -> Option<u64> {
    let status = fs::read_to_string(format!("/proc/{}/status", child.id())).ok()?;
    let line = status.lines().find(|line| line.starts_with("VmHWM:"))?;
    Some(line.split_whitespace().nth(1)?.parse::<u64>().ok()? >> 10)
}

/// Bombs and hollow claims in one folder, looked at by the program itself.
#[cfg(target_os = "linux")]
#[test]
fn the_worst_files_stay_within_bounds_and_are_told() {
    let folder = tempfile::tempdir().expect("a folder");
    let photos = folder.path().join("photos");
    fs::create_dir(&photos).expect("a folder");
    let too_many = "megapixels that are read";
    let too_large = "too large to be read in one piece";
    let damaged = "damaged or cut short";
    // Stray bytes behind the first segment, over which decoders pass.
    let mut stray = scans(600, 5_000);
    stray.splice(20..20, [0, 0]);
    let files: [(&str, Vec<u8>, &str); 15] = [
        ("bomb.png", black_png(30_000, 1, 0, 1), too_many),
        ("black.png", black_png(10_000, 8, 6, 4), "Nobody was found"),
        ("deep.png", black_png(10_000, 16, 6, 4), too_large),
        ("hollow.png", hollow_png(9_000, 9_000), damaged),
        ("claim.tif", hollow_tiff(70_000, 70_000), too_many),
        ("hollow.tif", hollow_tiff(9_000, 9_000), damaged),
        ("endless.tif", hollow_tiff(u32::MAX, u32::MAX), too_many),
        ("claim.webp", hollow_webp(16_000, 16_000), too_many),
        // The most that fits: one more than the reader counts to.
        ("most.webp", hollow_webp(16_384, 16_384), damaged),
        ("hollow.webp", hollow_webp(10_000, 10_000), damaged),
        ("claim.jpg", swollen_jpeg(65_500, 65_500), too_many),
        ("hollow.jpg", swollen_jpeg(10_000, 10_000), damaged),
        ("scans.jpg", scans(600, 5_000), "JPEG file is not supported"),
        ("stray.jpg", stray, "JPEG file is not supported"),
        (
            "point.png",
            png(&RgbImage::new(1, 1), Vec::new()),
            "too few",
        ),
    ];
    for (name, bytes, _) in &files {
        fs::write(photos.join(name), bytes).expect("a file");
    }
    let (peak, took) = watched(&folder);
    println!("{} files, at most {peak} MB, {took:.1?}", files.len());
    let table = scores::read(&folder.path().join("scores.csv")).expect("a table");
    for (name, _, expected) in &files {
        let row = table.iter().find(|score| score.photo == *name);
        let reason = &row.expect("a row").reason;
        assert!(reason.contains(expected), "{name}: {reason}");
    }
    assert!((100..MEMORY_MB).contains(&peak), "{peak} MB");
    // Minutes would be a bomb of time; seconds are a slow machine.
    assert!(took < Duration::from_secs(120), "{took:?}");
}

/// As many scans as are read over as many pixels as are read.
#[cfg(target_os = "linux")]
#[test]
#[ignore = "takes a minute"]
fn the_most_scans_end_in_bounded_memory_and_time() {
    let folder = tempfile::tempdir().expect("a folder");
    let photos = folder.path().join("photos");
    fs::create_dir(&photos).expect("a folder");
    for (name, more) in [("few.jpg", 0), ("many.jpg", 85)] {
        fs::write(photos.join(name), scans(10_000, more)).expect("a file");
    }
    let (peak, took) = watched(&folder);
    println!("at most {peak} MB, {took:.1?}");
    let table = scores::read(&folder.path().join("scores.csv")).expect("a table");
    for score in table {
        println!("{}: {}", score.photo, score.reason);
        assert!(
            !score.reason.contains("could not be read"),
            "{}",
            score.reason
        );
    }
    assert!((100..MEMORY_MB).contains(&peak), "{peak} MB");
    assert!(took < Duration::from_secs(240), "{took:?}");
}

// Blocks of tags that lie.

/// A directory that goes on with itself, and one whose camera directory is itself.
fn circles() -> [Vec<u8>; 2] {
    let first = |block: &[u8]| block[4..8].to_vec();
    let mut next = orientation_block(Endian::Little, 6);
    let (start, end) = (first(&next), next.len());
    next[end - 4..].copy_from_slice(&start);
    let mut inner = Tiff::new(Endian::Little).finish(&[
        (ORIENTATION, Field::Short(6)),
        (EXIF_DIRECTORY, Field::Long(0)),
    ]);
    let start = first(&inner);
    let end = inner.len();
    inner[end - 8..end - 4].copy_from_slice(&start);
    [next, inner]
}

/// A hundred thousand directories, each leading to the next.
fn long_chain() -> Vec<u8> {
    let mut block = Tiff::new(Endian::Little);
    let mut first = 0;
    for _ in 0..100_000 {
        let end = block.bytes.len();
        let start = block.directory(&[(ORIENTATION, Field::Short(6))]);
        match first {
            0 => first = start,
            _ => block.bytes[end - 4..end].copy_from_slice(&start.to_le_bytes()),
        }
    }
    block.bytes[4..8].copy_from_slice(&first.to_le_bytes());
    block.bytes
}

#[test]
fn directories_that_never_end_are_left() {
    let begun = Instant::now();
    let picture = upright();
    for block in circles() {
        decode(&jpeg(&picture, block.clone())).expect("a photo");
        decode(&png(&picture, block)).expect("a photo");
    }
    decode(&png(&picture, long_chain())).expect("a photo");
    assert!(begun.elapsed() < Duration::from_secs(10));
}

#[test]
fn a_turn_that_no_camera_takes_is_none() {
    for orientation in [0, 9, 255, 256 + 6, 65_535] {
        let block = orientation_block(Endian::Big, orientation);
        let photo = decode(&jpeg(&upright(), block)).expect("a photo");
        assert_upright(&photo, &format!("orientation {orientation}"));
    }
}

#[test]
fn a_lens_that_can_not_be_is_none() {
    let focal = |field: Field| {
        let block = camera_block(&[(FOCAL_35MM, field)]);
        let photo = decode(&jpeg(&upright(), block)).expect("a photo");
        photo.tags().focal_35mm
    };
    assert_eq!(focal(Field::Short(50)), Some(50.0));
    for lie in [
        Field::Short(0),
        Field::Short(u16::MAX),
        Field::Long(u32::MAX),
        // Neither a number nor infinite.
        Field::Rational(0, 0),
        Field::Rational(50, 0),
        Field::Rational(0, 50),
        Field::Rational(u32::MAX, 1),
        Field::Ascii("fifty"),
        Field::Bytes(Vec::new()),
    ] {
        assert_eq!(focal(lie), None);
    }
    // A size as large as can be, and none at all, beside an honest lens.
    for (width, height) in [(u32::MAX, u32::MAX), (u32::MAX, 1), (0, 0), (0, u32::MAX)] {
        let block = camera_block(&[
            (WIDTH_TAKEN, Field::Long(width)),
            (HEIGHT_TAKEN, Field::Long(height)),
            (FOCAL_35MM, Field::Short(50)),
        ]);
        let photo = decode(&jpeg(&upright(), block)).expect("a photo");
        let focal = photo.tags().focal_35mm;
        assert!(
            focal.is_none_or(|mm| mm == 50.0),
            "{width}×{height}: {focal:?}"
        );
    }
}

/// Colours are taken as they stand: a profile is never followed, so it can't lead anywhere.
#[test]
fn a_broken_profile_of_colours_changes_nothing() {
    let plain = png(&upright(), Vec::new());
    let after_header = 8 + 25;
    let bomb = [&b"x\0\0"[..], &deflated_noughts(200 << 20)].concat();
    for profile in [bomb, b"x\0\0not deflated".to_vec(), Vec::new()] {
        let chunk = png_chunk(b"iCCP", &profile);
        let bytes = [&plain[..after_header], &chunk, &plain[after_header..]].concat();
        assert_upright(&decode(&bytes).expect("a photo"), "iCCP");
    }
    let plain = jpeg(&upright(), Vec::new());
    // The third of two parts, and 255 parts of nothing.
    let part = |number: u8, of: u8, data: &[u8]| {
        let length = (16 + data.len()) as u16;
        let head = [&[0xff, 0xe2][..], &length.to_be_bytes(), b"ICC_PROFILE\0"].concat();
        [&head, &[number, of][..], data].concat()
    };
    let many: Vec<u8> = (1..=255).flat_map(|n| part(n, 255, &[0; 60_000])).collect();
    for profile in [part(3, 2, b"x"), part(0, 0, b""), many] {
        let bytes = [&plain[..2], &profile, &plain[2..]].concat();
        assert_upright(&decode(&bytes).expect("a photo"), "APP2");
    }
}

/// Of a PNG that moves, the first frame counts.
#[test]
fn an_animated_png_gives_its_first_frame() {
    let plain = png(&upright(), Vec::new());
    let (width, height) = upright().dimensions();
    let control = [2u32.to_be_bytes(), 0u32.to_be_bytes()].concat();
    let frame = |number: u32| {
        let mut data: Vec<u8> = [number, width, height, 0, 0].map(u32::to_be_bytes).concat();
        data.extend([0, 1, 0, 10, 0, 0]);
        png_chunk(b"fcTL", &data)
    };
    let second = [2u32.to_be_bytes().as_slice(), b"no frame"].concat();
    let (after_header, end) = (8 + 25, plain.len() - 12);
    let bytes = [
        &plain[..after_header],
        &png_chunk(b"acTL", &control),
        &frame(0),
        &plain[after_header..end],
        &frame(1),
        &png_chunk(b"fdAT", &second),
        &plain[end..],
    ]
    .concat();
    assert_upright(&decode(&bytes).expect("a photo"), "APNG");
}

// Photos that were spoilt on the way.

/// Where the coded pixels of a JPEG begin.
fn coded(jpeg: &[u8]) -> usize {
    let scan = jpeg.windows(2).position(|pair| pair == [0xff, 0xda]);
    scan.expect("a scan") + 14
}

type Damage = fn(&mut [u8], &mut Dice);

/// Photos of the demo with damage of one kind: how often it was told, and how often it was not though
/// the picture is visibly another.
fn told_and_missed(damage: Damage, halved: bool) -> (u32, u32) {
    let mut dice = Dice(7);
    let (mut told, mut missed) = (0, 0);
    for visit in ["intake", "follow-up", "setback", "discharge"] {
        let good = fs::read(demo(visit).join("side-reach.jpg")).expect("a photo");
        let decode = |bytes: &[u8]| match halved {
            true => Photo::decode_for(bytes, Limits::default(), 2.0),
            false => Photo::decode(bytes, Limits::default()),
        };
        let whole = decode(&good).expect("a photo");
        for _ in 0..25 {
            let mut bytes = good.clone();
            let end = bytes.len() - 2;
            damage(&mut bytes[coded(&good)..end], &mut dice);
            match decode(&bytes) {
                Err(error) => {
                    assert!(matches!(error.kind, PhotoErrorKind::Damaged), "{error}");
                    told += 1;
                }
                Ok(photo) => {
                    let differs = |(a, b): &(&Rgb<u8>, &Rgb<u8>)| {
                        a.0.iter().zip(b.0).any(|(a, b)| a.abs_diff(b) > 16)
                    };
                    let pixels = photo.upright().pixels().zip(whole.upright().pixels());
                    // Eight blocks: less is no other picture.
                    missed += u32::from(pixels.filter(differs).count() > 512);
                }
            }
        }
    }
    (told, missed)
}

/// A sector of a card that is empty or holds something else is told but once in a hundred times, also
/// where a batch looks at a smaller picture. A single wrong bit may leave a picture that contradicts
/// itself nowhere.
#[test]
fn garbled_pixels_are_told() {
    let sectors: [(&str, Damage); 2] = [
        ("empty", |coded, dice| {
            let at = dice.below(coded.len() - 512);
            coded[at..at + 512].fill(0);
        }),
        ("strange", |coded, dice| {
            let at = dice.below(coded.len() - 512);
            coded[at..at + 512].fill_with(|| dice.next() as u8);
        }),
    ];
    let bit: Damage = |coded, dice| {
        let at = dice.below(coded.len());
        coded[at] ^= 1 << dice.below(8);
    };
    for halved in [false, true] {
        for (name, damage) in sectors {
            let (told, missed) = told_and_missed(damage, halved);
            println!("{name} sectors, halved {halved}: told {told}, missed {missed} of 100");
            assert!(told >= 99, "{name}: told {told}, missed {missed}");
        }
        let (told, missed) = told_and_missed(bit, halved);
        println!("a wrong bit, halved {halved}: told {told}, missed {missed} of 100");
        assert!(told > 4 * missed, "told {told}, missed {missed}");
    }
}

/// A camera may leave a byte or two, or any number of nought, between the pixels and the end, and
/// whatever it likes after it.
#[test]
fn what_some_cameras_leave_in_a_whole_photo_is_no_damage() {
    let photo = jpeg(&upright(), Vec::new());
    let (pixels, end) = photo.split_at(photo.len() - 2);
    let padded = [pixels, &[0, 0], end].concat();
    assert_upright(&decode(&padded).expect("a photo"), "padded");
    let filled = [pixels, &[0; 4000], end, &[7; 64]].concat();
    assert_upright(&decode(&filled).expect("a photo"), "filled up");
    let trailed = [&photo[..], &[0xff, 0xda, 7, 7].repeat(500)].concat();
    assert_upright(&decode(&trailed).expect("a photo"), "with a trailer");
    let strange = [pixels, &[7; 64], end].concat();
    assert!(matches!(refused(&strange), PhotoErrorKind::Damaged));
}

/// No name leads out of a folder, and none is obeyed by a terminal.
#[test]
fn a_name_is_only_shown() {
    let folder = tempfile::tempdir().expect("a folder");
    let photo = folder.path().join("\u{1b}[2J\u{202e}photo.jpg");
    fs::write(&photo, b"no photo").expect("a file");
    let output = Command::new(assert_cmd::cargo::cargo_bin("tragus"))
        .arg("measure")
        .arg(&photo as &Path)
        .output()
        .expect("it runs");
    for said in [output.stdout, output.stderr] {
        assert!(!said.contains(&0x1b), "{}", String::from_utf8_lossy(&said));
    }
}
