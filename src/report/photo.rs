//! A photo in a report: the person cut out, the lines that the measures are read along, the values
//! beside them.

use base64::Engine;
use base64::engine::general_purpose::STANDARD;
use maud::{Markup, html};

use crate::geometry::{Photo, Point};
use crate::measure::Measure;
use crate::visit::{Located, PhotoRecord};

use super::html::ReportInput;
use super::lines::{self, Drawing, Stroke, Tag};
use super::number;
use super::picture::{self, Encoded, Framing};
use super::view::{self, PairView, Shot, VisitName};

/// Of lines, marks and values on a photo, and of charts.
pub(super) const STYLE: &str = include_str!("picture.css");
/// Height of a picture, pixels: twice its height on a screen.
const PICTURE_HEIGHT: u32 = 960;

/// A photo as it appears in a report.
pub(super) struct Shown {
    encoded: Encoded,
    drawing: Drawing,
    marks: Vec<Located>,
    pub values: Vec<Value>,
    /// Covered faces, in the picture.
    faces: Vec<Disc>,
    /// How the camera stood.
    pub setup: Option<Vec<String>>,
}

/// A value written beside the line that shows it.
pub(super) struct Value {
    tag: Tag,
    name: String,
    /// For the narrow room beside and below the person.
    pub short: String,
    pub value: String,
}

/// The photos of a pair with what was found in them, framed so that the bodies are equally large.
pub(super) fn show_pair<'a>(
    input: &ReportInput,
    pair: &'a PairView,
) -> Vec<(&'a VisitName, Result<Shown, String>)> {
    let records = records(input, pair);
    let mut framings = picture::frame_alike(&records, PICTURE_HEIGHT).into_iter();
    pair.shots
        .iter()
        .map(|(name, shot)| {
            let shown = match shot {
                Shot::Missing(reason) => Err(reason.clone()),
                Shot::Photo { visit, photo } => {
                    show(input, *visit, *photo, framings.next().flatten())
                }
            };
            (name, shown)
        })
        .collect()
}

/// What has to be said where the bodies of a pair are not equally large.
pub(super) fn aside(input: &ReportInput, pair: &PairView) -> Option<&'static str> {
    let records = records(input, pair);
    (records.len() > 1 && !picture::comparable(&records))
        .then_some("Not scaled alike: the legs aren't seen in both photos.")
}

fn records<'a>(input: &ReportInput<'a>, pair: &PairView) -> Vec<&'a PhotoRecord> {
    let visits = input.visits;
    pair.shots
        .iter()
        .filter_map(|(_, shot)| match shot {
            Shot::Photo { visit, photo } => visits.get(*visit)?.photos.get(*photo),
            Shot::Missing(_) => None,
        })
        .collect()
}

fn show(
    input: &ReportInput,
    visit: usize,
    photo: usize,
    framing: Option<Framing>,
) -> Result<Shown, String> {
    let of = &input.visits[visit];
    let record = &of.photos[photo];
    let framing = framing.ok_or("Too little of the person was found to show the photo.")?;
    let image = (input.pictures)(visit, photo).ok_or_else(|| {
        format!(
            "{} is not beside the record as it was measured. Put it back there to show the photo.",
            record.file
        )
    })?;
    let encoded = picture::encode(&image, record, framing, input.show_faces)
        .ok_or("Not shown: the face can't be covered, because it was not located.")?;
    let drawing = lines::drawing(record);
    let marks = drawing
        .landmarks
        .iter()
        .filter_map(|landmark| record.landmarks.get(landmark).copied())
        .collect();
    let values = drawing
        .tags
        .iter()
        .filter_map(|tag| {
            let reading = of
                .readings_of(tag.measure, tag.side)
                .find(|reading| reading.photo == record.file)?;
            let estimate = reading.outcome.as_ref().ok()?;
            Some(Value {
                tag: *tag,
                name: sided(tag.measure.words(), tag, record),
                short: sided(short_name(tag.measure), tag, record),
                value: number::with_error(*estimate, tag.measure.unit()),
            })
        })
        .collect();
    let covered = match input.show_faces {
        true => Vec::new(),
        false => picture::faces(record).unwrap_or_default(),
    };
    let faces = covered
        .iter()
        .map(|face| {
            let centre = framing.picture_from_photo.apply(face.centre);
            Disc {
                x: centre.x,
                y: centre.y,
                radius: face.radius * framing.picture_from_photo.scale(),
            }
        })
        .collect();
    Ok(Shown {
        encoded,
        drawing,
        marks,
        values,
        faces,
        setup: view::setup_words(record),
    })
}

const fn short_name(measure: Measure) -> &'static str {
    match measure {
        Measure::ArmToEarFront => "Arm to ear",
        Measure::CraniovertebralAngle => "Craniovertebral",
        Measure::HeadForwardOfShoulder => "Head forward",
        Measure::SagittalShoulderAngle => "Shoulder angle",
        Measure::ShoulderAbduction => "Abduction",
        Measure::ShoulderFlexion => "Flexion",
        Measure::ThoracicAngle => "Thoracic angle",
        other => other.words(),
    }
}

/// The side is named only where the photo shows both.
fn sided(name: &str, tag: &Tag, record: &PhotoRecord) -> String {
    match (tag.side, record.view.and_then(|view| view.near_side())) {
        (Some(side), None) => format!("{name}, {side}"),
        _ => name.to_owned(),
    }
}

impl Shown {
    /// Width and height of the picture, pixels.
    pub fn size(&self) -> (u32, u32) {
        let Framing { width, height, .. } = self.encoded.framing;
        (width, height)
    }

    /// The photo in words, for whoever can't see it.
    pub fn words(&self, pose: &str, visit: &str) -> String {
        let values: Vec<String> = self
            .values
            .iter()
            .map(|value| format!("{} {}", value.name, value.value))
            .collect();
        format!("Photo: {pose}, {visit}. {}", values.join("; "))
    }
}

/// The photo with its lines and values.
pub(super) fn photo(shown: &Shown, pose: &str, visit: &str) -> Markup {
    let Framing {
        width,
        height,
        picture_from_photo,
    } = shown.encoded.framing;
    let data = format!(
        "data:image/jpeg;base64,{}",
        STANDARD.encode(&shown.encoded.jpeg)
    );
    let words = shown.words(pose, visit);
    let place = |point: Point<Photo>| {
        let at = picture_from_photo.apply(point);
        (at.x, at.y)
    };
    html! {
        svg.photo viewBox=(format!("0 0 {width} {height}")) role="img" aria-label=(words) {
            image href=(data) width=(width) height=(height) {}
            @for line in &shown.drawing.lines {
                @let ((x1, y1), (x2, y2)) = (place(line.from), place(line.to));
                @let path = format!("M{x1:.1} {y1:.1}L{x2:.1} {y2:.1}");
                path.casing d=(path) {}
                path class=(format!("stroke {}", stroke_class(line.stroke))) d=(path) {}
            }
            @for arc in &shown.drawing.arcs {
                @let points: Vec<String> = arc
                    .iter()
                    .map(|point| { let (x, y) = place(*point); format!("{x:.1},{y:.1}") })
                    .collect();
                polyline.casing points=(points.join(" ")) {}
                polyline.arc points=(points.join(" ")) {}
            }
            @for mark in &shown.marks {
                @let (x, y) = place(mark.at);
                circle.mark.covered[mark.covered] cx=(format!("{x:.1}")) cy=(format!("{y:.1}")) r="6" {}
            }
            (tags(shown, &place, f64::from(width), f64::from(height)))
        }
    }
}

const fn stroke_class(stroke: Stroke) -> &'static str {
    match stroke {
        Stroke::Body => "body",
        Stroke::Reference => "reference",
        Stroke::Distance => "distance",
    }
}

/// A line of a tag, in picture pixels.
const TAG_LINE: f64 = 30.0;
const TAG_HEIGHT: f64 = 2.0 * TAG_LINE + 12.0;
/// Width of a character of a tag's two lines, for wide type.
const NAME_CHARACTER: f64 = 13.6;
const VALUE_CHARACTER: f64 = 15.4;
const TAG_EDGE: f64 = 8.0;

/// Values at the edge of the picture, off the body, moved apart so that none hides another.
fn tags(
    shown: &Shown,
    place: &dyn Fn(Point<Photo>) -> (f64, f64),
    width: f64,
    height: f64,
) -> Markup {
    let mut boxes: Vec<TagBox> = shown
        .values
        .iter()
        .filter_map(|value| {
            let beside = value.tag.beside?;
            let (_, y) = place(Point::new(value.tag.at.x, beside.y));
            let letters = |words: &str| words.chars().count() as f64;
            let wide = (letters(&value.short) * NAME_CHARACTER)
                .max(letters(&value.value) * VALUE_CHARACTER)
                + 20.0;
            let left = match beside.to_right {
                true => width - wide - TAG_EDGE,
                false => TAG_EDGE,
            };
            let wished = (y - TAG_HEIGHT / 2.0).clamp(0.0, (height - TAG_HEIGHT).max(0.0));
            let below_faces = shown.faces.iter().fold(wished, |top, face| {
                if face.touches(left, top, wide) {
                    face.y + face.radius + TAG_EDGE
                } else {
                    top
                }
            });
            Some(TagBox {
                from: place(value.tag.at),
                left,
                top: below_faces,
                wide,
                to_right: beside.to_right,
                name: &value.short,
                value: &value.value,
            })
        })
        .collect();
    spread(&mut boxes, height);
    html! {
        g.tags {
            @for tag in &boxes {
                @let near = if tag.to_right { tag.left } else { tag.left + tag.wide };
                @let middle = tag.top + TAG_HEIGHT / 2.0;
                path.leader d=(format!(
                    "M{:.1} {:.1}L{near:.1} {middle:.1}", tag.from.0, tag.from.1
                )) {}
            }
            @for tag in &boxes {
                rect x=(format!("{:.1}", tag.left)) y=(format!("{:.1}", tag.top))
                    width=(format!("{:.1}", tag.wide)) height=(TAG_HEIGHT) rx="6" {}
                text x=(format!("{:.1}", tag.left + 10.0)) y=(format!("{:.1}", tag.top + 27.0)) {
                    (tag.name)
                }
                text.value x=(format!("{:.1}", tag.left + 10.0))
                    y=(format!("{:.1}", tag.top + 27.0 + TAG_LINE)) {
                    (tag.value)
                }
            }
        }
    }
}

struct Disc {
    x: f64,
    y: f64,
    radius: f64,
}

impl Disc {
    /// Whether a tag here would come nearer to the disc than its edge to that of the picture.
    fn touches(&self, left: f64, top: f64, wide: f64) -> bool {
        let across = self.x - self.x.clamp(left, left + wide);
        let down = self.y - self.y.clamp(top, top + TAG_HEIGHT);
        across.hypot(down) < self.radius + TAG_EDGE
    }
}

struct TagBox<'a> {
    from: (f64, f64),
    left: f64,
    top: f64,
    wide: f64,
    to_right: bool,
    name: &'a str,
    value: &'a str,
}

/// Pushes overlapping boxes down, from the top, and the lowest back into the picture.
fn spread(boxes: &mut [TagBox], height: f64) {
    const GAP: f64 = 6.0;
    boxes.sort_by(|a, b| a.top.total_cmp(&b.top));
    for index in 1..boxes.len() {
        let (above, below) = boxes.split_at_mut(index);
        let tag = &mut below[0];
        for other in above.iter() {
            let beside = tag.left < other.left + other.wide && other.left < tag.left + tag.wide;
            if beside && tag.top < other.top + TAG_HEIGHT + GAP {
                tag.top = other.top + TAG_HEIGHT + GAP;
            }
        }
    }
    let lowest = boxes.iter().map(|tag| tag.top).fold(0.0, f64::max);
    let over = (lowest + TAG_HEIGHT - height).max(0.0);
    for tag in boxes.iter_mut() {
        tag.top = (tag.top - over).max(0.0);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn tags_keep_off_a_covered_face() {
        let face = Disc {
            x: 200.0,
            y: 100.0,
            radius: 40.0,
        };
        assert!(face.touches(10.0, 60.0, 145.0));
        assert!(!face.touches(10.0, 60.0, 100.0));
        assert!(!face.touches(10.0, 160.0, 300.0));
    }

    #[test]
    fn tags_do_not_cover_each_other() {
        let tag = |top| TagBox {
            from: (0.0, 0.0),
            left: 0.0,
            top,
            wide: 100.0,
            to_right: true,
            name: "",
            value: "",
        };
        let mut boxes = [tag(10.0), tag(5.0), tag(880.0), tag(870.0)];
        spread(&mut boxes, 960.0);
        for pair in boxes.windows(2) {
            assert!(pair[1].top >= pair[0].top + TAG_HEIGHT || pair[0].top == 0.0);
        }
        assert!(boxes.iter().all(|tag| tag.top + TAG_HEIGHT <= 960.0));
    }
}
