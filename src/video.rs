//! A short clip of a reach: the frame in which an arm is highest, and the two beside it, as photos.
//!
//! The frames come from the program ffmpeg, where this machine has one. It is given one file of a known
//! kind and no way to the network, is told nothing and asked nothing, and is stopped when nothing comes
//! from it any more. The frames stay in memory.

use std::ffi::OsString;
use std::io::{self, BufRead, BufReader, ErrorKind, Read};
use std::path::Path;
use std::process::Command;
use std::process::{Child, Stdio};
use std::sync::mpsc::{self, Receiver, RecvTimeoutError};
use std::thread;
use std::time::Duration;

use image::RgbImage;
use image::codecs::jpeg::JpegEncoder;
use thiserror::Error;

use crate::body::{Landmark, Operated, Side};
use crate::infer::{Effort, Finder, InferError, Sample};
use crate::photo::{CameraTags, Limits, Photo};
use crate::visit::Notice;

const FRAMES_A_SECOND: usize = 5;
const SECONDS: usize = 60;
const MOST_FRAMES: usize = FRAMES_A_SECOND * SECONDS;
/// Pixels on the longer side of the frames in which the arms are followed.
const FOLLOWED: u32 = 640;
/// So long a frame is waited for.
const PATIENCE: Duration = Duration::from_secs(60);
/// What ffmpeg may take a file for: no list of other files or addresses is among them.
const KINDS: &str = "mov,mp4,m4a,3gp,3g2,mj2,matroska,webm,avi,mpegts";
/// Above this a wrist or a shoulder counts as seen.
const SEEN: f64 = 0.5;
/// Of the frames as photos.
const JPEG_QUALITY: u8 = 95;

/// Frames of a clip around the greatest reach, in their order.
pub struct Reach {
    pub frames: Vec<Frame>,
    /// Which of them is the greatest.
    pub greatest: usize,
    /// What is to be known of them.
    pub notice: Notice,
}

/// A frame as a photo.
pub struct Frame {
    /// "clip.mp4 at 3.2 s.jpg": the ending makes it a photo of the visit that it is filed with.
    pub name: String,
    pub jpeg: Vec<u8>,
}

#[derive(Debug, Error)]
#[non_exhaustive]
pub enum VideoError {
    #[error("it is a video, and the program ffmpeg, which reads it, was not found")]
    NoProgram,
    #[error("ffmpeg could not be started: {0}")]
    NotStarted(io::Error),
    #[error("the video is damaged, or of a kind that is not read")]
    Unreadable,
    #[error("no picture of the video came for {} s", PATIENCE.as_secs())]
    Stalled,
    #[error("no arm could be followed in the video")]
    Nobody,
    #[error("a frame could not be kept: {0}")]
    Frame(#[from] image::ImageError),
    #[error(transparent)]
    Nets(#[from] InferError),
}

impl VideoError {
    /// What the person can do about it.
    pub fn hint(&self) -> &'static str {
        match self {
            VideoError::NoProgram | VideoError::NotStarted(_) => {
                "install ffmpeg, or export the picture of the greatest reach as JPEG"
            }
            VideoError::Nobody => {
                "film the whole person with raised hands, the camera still and the light in front"
            }
            _ => "export the picture of the greatest reach as JPEG",
        }
    }
}

/// Looks through a clip for the greatest reach: of the operated arm where one is known and seen, else of
/// whichever is higher.
pub fn greatest_reach(
    finder: &Finder,
    clip: &Path,
    operated: Option<Operated>,
) -> Result<Reach, VideoError> {
    let follow = format!("scale={FOLLOWED}:{FOLLOWED}:force_original_aspect_ratio=decrease");
    // One more than is looked at tells that the clip goes on.
    let mut frames = Frames::of(clip, &follow, MOST_FRAMES + 1)?;
    let mut heights = Vec::new();
    let mut goes_on = false;
    while let Some(frame) = frames.next()? {
        if heights.len() == MOST_FRAMES {
            goes_on = true;
            break;
        }
        let photo = Photo::new(frame, CameraTags::default());
        let person = finder.search(&photo, Effort::Quick)?.person;
        heights.push(person.map_or([None; 2], |person| arm_heights(&person.samples)));
    }
    drop(frames);
    if heights.is_empty() {
        return Err(VideoError::Unreadable);
    }
    let followed = followed(&heights, operated);
    let series: Vec<Option<f64>> = heights
        .iter()
        .map(|frame| highest(frame, followed))
        .collect();
    let peak = peak(&series).ok_or(VideoError::Nobody)?;
    let first = peak.saturating_sub(1);
    let last = (peak + 1).min(heights.len() - 1);
    // Their times anew, or the ones between would be filled with copies.
    let around = format!("select='between(n,{first},{last})',setpts=N/({FRAMES_A_SECOND}*TB)");
    let mut frames = Frames::of(clip, &around, last - first + 1)?;
    let file = clip.file_name().unwrap_or_default().to_string_lossy();
    let mut kept = Vec::new();
    while let Some(frame) = frames.next()? {
        let mut jpeg = Vec::new();
        JpegEncoder::new_with_quality(&mut jpeg, JPEG_QUALITY).encode_image(&frame)?;
        let name = format!("{file} at {}.jpg", time(first + kept.len()));
        kept.push(Frame { name, jpeg });
    }
    if kept.len() != last - first + 1 {
        return Err(VideoError::Unreadable);
    }
    Ok(Reach {
        notice: notice(&file, peak, followed, kept.len(), goes_on),
        greatest: peak - first,
        frames: kept,
    })
}

/// "3.2 s" into the clip.
fn time(frame: usize) -> String {
    format!("{:.1} s", frame as f64 / FRAMES_A_SECOND as f64)
}

fn notice(file: &str, peak: usize, followed: Option<Side>, frames: usize, goes_on: bool) -> Notice {
    let arm = match followed {
        Some(side) => format!("the {side} arm"),
        None => "an arm".to_owned(),
    };
    let mut text = format!("{file}: {arm} is highest at {}.", time(peak));
    if frames > 1 {
        text += &format!(
            " {frames} frames around it, {:.1} s apart, count as repeats. They share stance, camera, \
             clothes and light: their mean takes off the noise of a single look and nothing else, and \
             how far they lie apart does not tell how far another take would.",
            1.0 / FRAMES_A_SECOND as f64
        );
    }
    if goes_on {
        text += &format!(" Only the first {SECONDS} s were looked at.");
    }
    Notice::new(text)
}

/// How high each wrist is above its shoulder, in lengths of the trunk; left, then right.
type ArmHeights = [Option<f64>; 2];

fn arm_heights(samples: &[Sample]) -> ArmHeights {
    Side::BOTH.map(|side| {
        let points = &samples.first()?.points;
        let seen = |landmark| {
            let point = points.get(&landmark)?;
            (point.visibility > SEEN && point.presence > SEEN).then_some(point.at)
        };
        let shoulder = seen(Landmark::ShoulderJoint(side))?;
        let wrist = seen(Landmark::Wrist(side))?;
        let trunk = shoulder.distance(seen(Landmark::HipJoint(side))?);
        let height = (shoulder.y - wrist.y) / trunk;
        height.is_finite().then_some(height)
    })
}

/// The arm that is followed by itself: the operated one, where it is seen in half of the frames at least.
fn followed(heights: &[ArmHeights], operated: Option<Operated>) -> Option<Side> {
    let Some(Operated::One(side)) = operated else {
        return None;
    };
    let seen = heights.iter().filter(|frame| of(frame, side).is_some());
    (2 * seen.count() >= heights.len()).then_some(side)
}

fn of(frame: &ArmHeights, side: Side) -> Option<f64> {
    match side {
        Side::Left => frame[0],
        Side::Right => frame[1],
    }
}

fn highest(frame: &ArmHeights, followed: Option<Side>) -> Option<f64> {
    match followed {
        Some(side) => of(frame, side),
        None => frame.iter().copied().flatten().reduce(f64::max),
    }
}

/// How far an arm may be from the median of three frames and still be where it is seen: it moves on
/// between two frames. In lengths of the trunk.
const MOVES_ON: f64 = 0.3;

/// Where a series is highest and stays so: a frame is rated by itself and those seen before and after it,
/// the highest of the three left out, so that a single wrong value moves it little, and is never it.
fn peak(series: &[Option<f64>]) -> Option<usize> {
    let seen: Vec<(usize, f64)> = series
        .iter()
        .enumerate()
        .filter_map(|(index, value)| Some((index, (*value)?)))
        .collect();
    let rated = seen
        .iter()
        .enumerate()
        .filter_map(|(place, &(index, own))| {
            // Before the first and after the last the arm counts as low.
            let beside = |place: Option<usize>| {
                let neighbour = place.and_then(|place| seen.get(place));
                neighbour.map_or(own - 1.0, |&(_, value)| value)
            };
            let mut three = [beside(place.checked_sub(1)), own, beside(Some(place + 1))];
            three.sort_by(f64::total_cmp);
            let is_alone = seen.len() == 1;
            let is_trusted = is_alone || (own - three[1]).abs() <= MOVES_ON;
            is_trusted.then_some((index, three[0] + three[1]))
        });
    let best = rated.reduce(|best, next| if best.1 < next.1 { next } else { best });
    best.map(|(index, _)| index)
}

/// A running ffmpeg and the frames that come from it. It ends with this.
struct Frames {
    program: Child,
    frames: Receiver<io::Result<RgbImage>>,
}

impl Frames {
    /// The frames of a clip at the rate that they are looked at, upright and with square pixels, through
    /// these filters.
    fn of(clip: &Path, filters: &str, most: usize) -> Result<Frames, VideoError> {
        let pixels = Limits::default().pixels;
        let mut input = OsString::from("file:");
        input.push(clip);
        let filters = format!("fps={FRAMES_A_SECOND},scale=trunc(iw*sar):ih,setsar=1,{filters}");
        // ffmpeg turns the frames as the clip says before any filter sees them.
        let mut program = Command::new("ffmpeg")
            .args(["-nostdin", "-v", "quiet"])
            .args(["-protocol_whitelist", "file,pipe"])
            .args(["-format_whitelist", KINDS])
            .args(["-max_pixels", &pixels.to_string()])
            .arg("-i")
            .arg(input)
            .args(["-map", "0:V:0", "-vf", &filters])
            .args(["-frames:v", &most.to_string()])
            .args([
                "-c:v",
                "ppm",
                "-pix_fmt",
                "rgb24",
                "-f",
                "image2pipe",
                "pipe:1",
            ])
            .stdin(Stdio::null())
            .stdout(Stdio::piped())
            .stderr(Stdio::null())
            .spawn()
            .map_err(|error| match error.kind() {
                ErrorKind::NotFound => VideoError::NoProgram,
                _ => VideoError::NotStarted(error),
            })?;
        let output = program.stdout.take().expect("it was asked for");
        let (sender, frames) = mpsc::sync_channel(2);
        thread::spawn(move || {
            let mut output = BufReader::new(output);
            while let Some(frame) = read_frame(&mut output, pixels).transpose() {
                let failed = frame.is_err();
                if sender.send(frame).is_err() || failed {
                    break;
                }
            }
        });
        Ok(Frames { program, frames })
    }

    fn next(&mut self) -> Result<Option<RgbImage>, VideoError> {
        match self.frames.recv_timeout(PATIENCE) {
            Ok(Ok(frame)) => Ok(Some(frame)),
            Ok(Err(_)) => Err(VideoError::Unreadable),
            Err(RecvTimeoutError::Timeout) => Err(VideoError::Stalled),
            Err(RecvTimeoutError::Disconnected) => Ok(None),
        }
    }
}

impl Drop for Frames {
    fn drop(&mut self) {
        // Either it has ended by itself, or nobody listens to it any more.
        let _ = self.program.kill();
        let _ = self.program.wait();
    }
}

/// The next picture of a stream of binary PPM; `None` at its end.
fn read_frame(stream: &mut impl BufRead, most_pixels: u64) -> io::Result<Option<RgbImage>> {
    if stream.fill_buf()?.is_empty() {
        return Ok(None);
    }
    let damaged = || io::Error::from(ErrorKind::InvalidData);
    let mut line = || -> io::Result<String> {
        let mut line = String::new();
        stream.by_ref().take(40).read_line(&mut line)?;
        Ok(line.trim_end().to_owned())
    };
    let (kind, size, levels) = (line()?, line()?, line()?);
    let (width, height) = size.split_once(' ').ok_or_else(damaged)?;
    let side = |text: &str| text.parse::<u32>().map_err(|_| damaged());
    let (width, height) = (side(width)?, side(height)?);
    let pixels = u64::from(width) * u64::from(height);
    if kind != "P6" || levels != "255" || pixels > most_pixels {
        return Err(damaged());
    }
    let mut bytes = vec![0; 3 * pixels as usize];
    stream.read_exact(&mut bytes)?;
    Ok(RgbImage::from_raw(width, height, bytes))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn peak_of(values: &[f64]) -> Option<usize> {
        // −9 stands for a frame in which the arm was not seen.
        let series = values.iter().map(|&value| (value > -9.0).then_some(value));
        peak(&series.collect::<Vec<_>>())
    }

    #[test]
    fn the_peak_is_where_the_arm_is_highest() {
        assert_eq!(peak_of(&[-1.0, -0.5, 0.4, 1.0, 1.1, 0.9, 0.0]), Some(4));
        // Held until the end.
        assert_eq!(peak_of(&[-1.0, 0.0, 0.9, 1.0, 1.1]), Some(3));
        assert_eq!(peak_of(&[0.7]), Some(0));
        assert_eq!(peak_of(&[-9.0, -9.0]), None);
        assert_eq!(peak_of(&[]), None);
    }

    /// Wherever a single frame goes wrong, upwards, downwards or out of sight, the peak is found within two
    /// frames, and never is it the wrong one.
    #[test]
    fn a_single_wrong_frame_moves_no_peak() {
        let rise = [-1.0, -0.6, 0.0, 0.5, 0.9, 1.1, 1.2, 1.15, 0.8, 0.2, -0.7];
        assert_eq!(peak_of(&rise), Some(6));
        for wrong in 0..rise.len() {
            for value in [5.0, -9.0, -3.0] {
                let mut series = rise;
                series[wrong] = value;
                let peak = peak_of(&series).expect("a peak");
                assert!(
                    peak != wrong && (4..=8).contains(&peak),
                    "{wrong} {value}: {peak}"
                );
            }
        }
    }

    #[test]
    fn the_operated_arm_is_followed_where_it_is_seen() {
        let both = [
            [Some(1.0), Some(0.2)],
            [Some(0.9), None],
            [Some(0.1), Some(0.4)],
        ];
        let right = Some(Operated::One(Side::Right));
        assert_eq!(followed(&both, right), Some(Side::Right));
        assert_eq!(followed(&both, None), None);
        assert_eq!(followed(&both, Some(Operated::Both)), None);
        let hidden = [[Some(1.0), None], [Some(0.9), None], [Some(0.1), Some(0.4)]];
        assert_eq!(followed(&hidden, right), None);
        assert_eq!(highest(&both[2], None), Some(0.4));
        assert_eq!(highest(&both[0], Some(Side::Right)), Some(0.2));
    }

    #[test]
    fn frames_are_read_one_after_the_other_within_the_limit() {
        let stream = b"P6\n2 1\n255\nabcdefP6\n1 1\n255\n\n\n\n".as_slice();
        let mut rest = stream;
        let first = read_frame(&mut rest, 2).expect("a frame").expect("one");
        assert_eq!(
            (first.dimensions(), first.as_raw().as_slice()),
            ((2, 1), b"abcdef".as_slice())
        );
        let second = read_frame(&mut rest, 2).expect("a frame").expect("one");
        assert_eq!(second.as_raw().as_slice(), b"\n\n\n");
        assert!(read_frame(&mut rest, 2).expect("the end").is_none());
        assert!(read_frame(&mut { stream }, 1).is_err());
        assert!(read_frame(&mut &stream[..13], 2).is_err());
        assert!(read_frame(&mut b"no picture at all".as_slice(), 2).is_err());
    }
}
