//! What comes from a phone: folders of mixed files, days that photos say, short clips of a reach.

use std::fs;
use std::path::Path;

use assert_cmd::Command;
use image::codecs::jpeg::JpegEncoder;
use image::{ImageEncoder, RgbImage, imageops};
use predicates::prelude::*;
use predicates::str::contains;
use tempfile::TempDir;

use tragus::measure::Measure;
use tragus::photo::{self, Days};
use tragus::video::{self, Reach, VideoError};

use crate::common::{demo, finder, mean_apart, root};

fn tragus() -> Command {
    let mut command = Command::cargo_bin("tragus").expect("the program");
    command.env_remove("ORT_DYLIB_PATH");
    command
}

/// A small grey photo that says that it was taken on a day, such as "2026:03:10".
pub fn taken_on(day: &str) -> Vec<u8> {
    let entry = |tag: u16, kind: u16, count: u32, value: u32| {
        let head = [tag.to_le_bytes(), kind.to_le_bytes()].concat();
        [head, [count.to_le_bytes(), value.to_le_bytes()].concat()].concat()
    };
    let directory = |entry: Vec<u8>| [&[1, 0], entry.as_slice(), &[0; 4]].concat();
    let block = [
        b"II\x2a\0\x08\0\0\0".to_vec(),
        directory(entry(0x8769, 4, 1, 26)),
        directory(entry(0x9003, 2, 20, 44)),
        format!("{day} 14:03:22\0").into_bytes(),
    ];
    let mut bytes = Vec::new();
    let mut encoder = JpegEncoder::new(&mut bytes);
    encoder.set_exif_metadata(block.concat()).expect("a block");
    let grey = RgbImage::from_pixel(80, 80, image::Rgb([128; 3]));
    encoder.encode_image(&grey).expect("a photo");
    bytes
}

#[test]
fn the_day_is_read_from_the_file() {
    let day = photo::day_taken(&taken_on("2026:03:10"));
    assert_eq!(day, Some(jiff::civil::date(2026, 3, 10)));
    for nonsense in ["0000:00:00", "2026:13:40", "          "] {
        assert_eq!(photo::day_taken(&taken_on(nonsense)), None, "{nonsense}");
    }
    assert_eq!(photo::day_taken(b"no photo"), None);
    assert!(
        Days::of([("a.jpg", None)])
            .doubts(None, jiff::civil::date(2026, 6, 1))
            .is_empty()
    );
}

/// Without a day nothing is filed: the one that the photos say is offered, and none where they
/// contradict each other or the camera's clock was wrong.
#[test]
fn the_day_that_the_photos_say_is_offered_and_never_taken() {
    for (days, offered, said) in [
        (["2026:03:10", "2026:03:10"], true, ""),
        (
            ["2026:03:10", "2026:04:28"],
            false,
            "Are they of one visit?",
        ),
        (
            ["1980:01:01", "1980:01:01"],
            false,
            "the camera's clock was not set",
        ),
        (["2999:01:01", "2999:01:01"], false, "still to come"),
    ] {
        let folder = tempfile::tempdir().expect("a folder");
        let photos = folder.path().join("photos");
        fs::create_dir(&photos).expect("a folder");
        for (name, day) in ["front.jpg", "side.jpg"].into_iter().zip(days) {
            fs::write(photos.join(name), taken_on(day)).expect("a photo");
        }
        let case = folder.path().join("demo-07");
        let offer = "the photos say 10 March 2026; --date 2026-03-10 takes it";
        tragus()
            .arg("measure")
            .arg(&photos)
            .args(["--label", "intake", "--case"])
            .arg(&case)
            .assert()
            .code(2)
            .stderr(
                contains(said)
                    .and(contains("a visit is filed under its day and a label"))
                    .and(predicate::function(|text: &str| {
                        text.contains(offer) == offered
                    })),
            );
        assert!(
            !case.exists(),
            "nothing is filed under a day that nobody told"
        );
        // Another day than was told is said; a label is still missing, so nothing is measured.
        tragus()
            .arg("measure")
            .arg(&photos)
            .args(["--date", "2026-01-02", "--case"])
            .arg(&case)
            .assert()
            .code(2)
            .stderr(predicate::function(|text: &str| {
                text.contains("the visit is dated 2 January 2026") == offered
            }));
    }
}

/// Names that are hard on some system: what can be read is taken, each other file is named by kind.
#[test]
fn a_mixed_folder_gives_its_photos_and_one_line_for_each_other_kind() {
    let folder = tempfile::tempdir().expect("a folder");
    let put = |name: &str, bytes: &[u8]| fs::write(folder.path().join(name), bytes).expect(name);
    let small = fs::read(root().join("fixtures/formats/picture.png")).expect("a picture");
    let long = "n".repeat(251) + ".png";
    let photos = [
        "IMG_0001.PNG",
        "a b.png",
        "📷.Png",
        "צילום.png",
        "CON.png",
        &long,
    ];
    for name in photos {
        put(name, &small);
    }
    for name in [
        "IMG_0001.HEIC",
        "IMG_0001.MOV",
        "IMG_0001.AAE",
        ".DS_Store",
        "Thumbs.db",
    ] {
        put(name, b"not looked at");
    }
    put("._IMG_0001.PNG", &small);
    put("front.png.", &small);
    fs::create_dir(folder.path().join("selected")).expect("a folder");
    let mut expected = photos.len();
    #[cfg(target_os = "linux")]
    {
        use std::os::unix::ffi::OsStrExt;
        put("back\\slash.png", &small);
        let no_text = std::ffi::OsStr::from_bytes(b"\xff.png");
        fs::write(folder.path().join(no_text), &small).expect("a file");
        expected += 2;
    }
    let run = tragus()
        .arg("measure")
        .arg(folder.path())
        .args(["--format", "json"])
        .assert()
        .code(1)
        .stderr(
            contains("Passed over: 1 photo (IMG_0001.HEIC), of which there is a JPEG too.")
                .and(contains("1 short video (IMG_0001.MOV)"))
                .and(contains("4 files (.DS_Store first)"))
                .and(contains("1 file (front.png.), no photo by its name."))
                .and(contains("1 folder (selected)")),
        );
    let visit: serde_json::Value =
        serde_json::from_slice(&run.get_output().stdout).expect("JSON on standard output");
    assert_eq!(visit["photos"].as_array().map(Vec::len), Some(expected));
}

/// Frames that ffmpeg makes a clip of, five a second; `None`, said aloud, where there is no ffmpeg.
fn clip(folder: &TempDir, frames: &[&RgbImage], options: &[&str]) -> Option<std::path::PathBuf> {
    for (number, frame) in frames.iter().enumerate() {
        let path = folder.path().join(format!("{number:03}.png"));
        frame.save(path).expect("a frame");
    }
    let clip = folder.path().join("clip.mp4");
    let made = std::process::Command::new("ffmpeg")
        .args(["-nostdin", "-v", "error", "-framerate", "5", "-i"])
        .arg(folder.path().join("%03d.png"))
        .args(["-pix_fmt", "yuv420p", "-crf", "15"])
        .args(options)
        .arg(&clip)
        .status();
    match made {
        Ok(status) => assert!(status.success(), "ffmpeg makes the clip"),
        Err(error) => {
            println!("skipped: no ffmpeg on this machine ({error})");
            return None;
        }
    }
    Some(clip)
}

/// Writes into a clip that it is to be shown turned by 90° to the right, as a phone does that was held
/// upright (ISO/IEC 14496-12, the matrix of the track's header).
fn turn(clip: &std::path::Path) {
    let words = |words: [u32; 9]| words.map(u32::to_be_bytes).concat();
    let (one, down) = (0x1_0000, 0x4000_0000);
    let plain = words([one, 0, 0, 0, one, 0, 0, 0, down]);
    let turned = words([0, one, 0, one.wrapping_neg(), 0, 0, 0, 0, down]);
    let mut bytes = fs::read(clip).expect("a clip");
    let find = |what: &[u8], from: usize, bytes: &[u8]| {
        let at = bytes[from..]
            .windows(what.len())
            .position(|window| window == what);
        from + at.expect("it is there")
    };
    let header = find(b"tkhd", 0, &bytes);
    let at = find(&plain, header, &bytes);
    bytes[at..at + turned.len()].copy_from_slice(&turned);
    fs::write(clip, bytes).expect("a clip");
}

fn demo_photo(name: &str) -> RgbImage {
    image::open(demo("intake").join(name))
        .expect("a photo")
        .into_rgb8()
}

fn frame(reach: &Reach, index: usize) -> RgbImage {
    image::load_from_memory(&reach.frames[index].jpeg)
        .expect("a photo")
        .into_rgb8()
}

/// A reach that one frame alone shows is not believed; the one that lasts is found, at its time and
/// turned once, also where the clip is stored on its side.
#[test]
fn the_greatest_reach_of_a_clip_is_found_and_stands_upright() {
    let (stand, reach) = (demo_photo("side-right.jpg"), demo_photo("side-reach.jpg"));
    let frames = |stand, reach| {
        [
            stand, reach, stand, stand, reach, reach, reach, stand, stand,
        ]
    };
    let lying = [imageops::rotate270(&stand), imageops::rotate270(&reach)];
    for (frames, is_lying) in [
        (frames(&stand, &reach), false),
        (frames(&lying[0], &lying[1]), true),
    ] {
        let folder = tempfile::tempdir().expect("a folder");
        let Some(clip) = clip(&folder, &frames, &[]) else {
            return;
        };
        if is_lying {
            turn(&clip);
        }
        let found = video::greatest_reach(finder(), &clip, None).expect("a reach");
        let name = &found.frames[found.greatest].name;
        let times = ["0.8", "1.0", "1.2"].map(|time| format!("clip.mp4 at {time} s.jpg"));
        assert!(times.contains(name), "{name}");
        assert_eq!(found.frames.len(), 3);
        assert!(
            found.notice.text.contains("0.2 s apart"),
            "{}",
            found.notice.text
        );
        let off = mean_apart(&frame(&found, found.greatest), &reach);
        println!("{name}: {off:.2} levels off on average");
        assert!(off < 4.0, "{off}");
    }
}

#[test]
fn a_clip_is_measured_filed_and_held_against_the_limit_like_photos() {
    let (stand, reach) = (demo_photo("side-right.jpg"), demo_photo("side-reach.jpg"));
    let folder = tempfile::tempdir().expect("a folder");
    let frames = [&stand, &stand, &reach, &reach, &reach, &stand];
    let Some(clip) = clip(&folder, &frames, &[]) else {
        return;
    };
    let case = folder.path().join("demo-07");
    let run = tragus()
        .arg("measure")
        .arg(&clip)
        .args([
            "--format",
            "json",
            "--label",
            "intake",
            "--date",
            "2026-03-10",
        ])
        .args(["--arm-limit", "90", "--case"])
        .arg(&case)
        .assert()
        .stderr(contains("filed: "));
    let visit = tragus::record::visit_from_json(
        std::str::from_utf8(&run.get_output().stdout).expect("text"),
    )
    .expect("a record");
    assert_eq!(visit.photos.len(), 3);
    let flexions = visit
        .readings
        .iter()
        .filter(|reading| reading.measure == Measure::ShoulderFlexion);
    assert!(
        flexions.filter(|reading| reading.outcome.is_ok()).count() >= 3,
        "repeats"
    );
    let says = |words: &str| {
        visit
            .notices
            .iter()
            .any(|notice| notice.text.contains(words))
    };
    assert!(
        says("count as repeats") && says("Above the set limit"),
        "{:?}",
        visit.notices
    );
    let filed = case.join("visits/2026-03-10-intake");
    for photo in &visit.photos {
        assert!(filed.join(&photo.file).is_file(), "{}", photo.file);
    }
    tragus()
        .args(["case", "verify"])
        .arg(&case)
        .assert()
        .code(0);
    tragus()
        .arg("check")
        .arg(&clip)
        .assert()
        .stdout(contains("frame of the greatest reach: clip.mp4 at 0."));
}

#[test]
fn without_ffmpeg_a_clip_says_what_to_do() {
    let folder = tempfile::tempdir().expect("a folder");
    let clip = folder.path().join("clip.MP4");
    fs::write(&clip, b"\0\0\0\x14ftypisom\0\0\0\0isom").expect("a file");
    tragus()
        .env("PATH", folder.path())
        .arg("check")
        .arg(&clip)
        .assert()
        .code(2)
        .stdout("")
        .stderr(contains("ffmpeg, which reads it, was not found").and(contains("hint: install")));
}

/// A list of other files under the name of a clip is opened for nobody.
#[test]
fn what_is_no_clip_is_refused() {
    let folder = tempfile::tempdir().expect("a folder");
    let path = folder.path().join("clip.mp4");
    let other = demo("intake").join("front.jpg");
    for text in [
        "no clip".to_owned(),
        format!("ffconcat version 1.0\nfile {}\n", other.display()),
        format!("#EXTM3U\n#EXTINF:1,\n{}\n#EXT-X-ENDLIST\n", other.display()),
    ] {
        fs::write(&path, text).expect("a file");
        let refused = video::greatest_reach(finder(), Path::new(&path), None);
        assert!(matches!(
            refused,
            Err(VideoError::Unreadable | VideoError::NoProgram)
        ));
    }
}
