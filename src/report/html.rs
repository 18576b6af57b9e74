//! The comparison report: one HTML file with everything in it, no script, nothing fetched. It
//! prints on A4, reads on a phone, and is told without colour too.

use base64::Engine;
use base64::engine::general_purpose::STANDARD;
use image::RgbImage;
use maud::{DOCTYPE, Markup, PreEscaped, html};

use crate::compare::Comparison;
use crate::geometry::{Photo, Point};
use crate::measure::Measure;
use crate::visit::{Located, PhotoRecord, Visit};

use super::lines::{self, Drawing, Stroke, Tag};
use super::picture::{self, Encoded, Framing};
use super::view::{
    self, ChartView, ComparisonView, Mark, NoticeView, PairView, ReasonView, RowView, Shot,
    SummaryLine, ValueView, VisitName,
};
use super::words::capitalised;
use super::{chart, number};

pub(super) const STYLE: &str = include_str!("style.css");
/// Height of a picture, pixels: twice its height on a screen.
const PICTURE_HEIGHT: u32 = 960;

/// What a report is written from.
pub struct ReportInput<'a> {
    /// Oldest first.
    pub visits: &'a [Visit],
    pub comparison: &'a Comparison,
    /// The upright photo of a visit, by the indices of visit and photo; `None` when it isn't at
    /// hand.
    pub pictures: &'a dyn Fn(usize, usize) -> Option<RgbImage>,
    pub show_faces: bool,
    /// Name and version of the program.
    pub program: &'a str,
}

/// The whole report.
pub fn comparison_html(input: &ReportInput) -> String {
    let view = view::comparison(input.visits, input.comparison);
    page(input, &view).into_string()
}

fn page(input: &ReportInput, view: &ComparisonView) -> Markup {
    html! {
        (DOCTYPE)
        html lang="en" {
            head {
                (page_metas(input.program))
                title { (view.title) }
                style { (PreEscaped(STYLE)) (PreEscaped(page_footer(view))) }
            }
            body {
                (signs())
                header {
                    h1 { (view.title) }
                    (facts(view))
                }
                main {
                    section.short aria-labelledby="short" {
                        h2 #short { "In short" }
                        (cautions(&view.cautions))
                        (summary(&view.summary))
                        p.lead { (unbroken(view::PLUS_MINUS)) " " (view::NOT_IN_IT) }
                    }
                    (before_acting(view))
                    (numbers(view))
                    (uncompared(&view.uncompared))
                    (pictures(input, view))
                    (charts(view))
                    (notices(&view.notices))
                    (method(view))
                }
                footer {
                    p { "Written by " (input.program) ". The tool proposes; a clinician approves." }
                }
            }
        }
    }
}

/// What the head of every page says to a browser, and who wrote the page.
pub(super) fn page_metas(program: &str) -> Markup {
    html! {
        meta charset="utf-8";
        meta name="viewport" content="width=device-width, initial-scale=1";
        meta name="generator" content=(program);
    }
}

/// The foot of every printed page: whose report it is, and which page.
fn page_footer(view: &ComparisonView) -> String {
    let case = view.facts.iter().find(|(name, _)| *name == view::CASE);
    let words = case.map_or(String::new(), |(name, case)| format!("{name} {case}"));
    format!(
        "@page {{ @bottom-left {{ content: {}; }} \
         @bottom-right {{ content: counter(page) \"/\" counter(pages); }} }}",
        css_string(&words)
    )
}

/// A CSS string in which all but letters, digits and spaces is escaped.
pub(super) fn css_string(words: &str) -> String {
    let escaped: String = words
        .chars()
        .map(|c| match c {
            ' ' | '-' => c.to_string(),
            c if c.is_alphanumeric() => c.to_string(),
            c => format!("\\{:x} ", u32::from(c)),
        })
        .collect();
    format!("\"{escaped}\"")
}

fn facts(view: &ComparisonView) -> Markup {
    html! {
        dl.facts {
            @for (name, value) in &view.facts {
                div { dt { (name) } dd { (value) } }
            }
            div.visits {
                dt { "Visits" }
                dd { (view.visit_titles()) }
            }
        }
    }
}

fn summary(lines: &[SummaryLine]) -> Markup {
    html! {
        ul.summary {
            @for line in lines {
                li class=(class(line.mark)) {
                    (sign(line.mark))
                    p { strong { (line.lead) ": " } (unbroken(&line.text)) }
                }
            }
        }
    }
}

/// Keeps a number, its error and its unit on one line.
pub(super) fn unbroken(text: &str) -> String {
    text.replace(" ± ", "\u{a0}±\u{a0}")
        .replace(" cm", "\u{a0}cm")
        .replace(" m ", "\u{a0}m ")
        .replace(" %", "\u{a0}%")
}

fn cautions(cautions: &[String]) -> Markup {
    html! {
        @if !cautions.is_empty() {
            div.cautions role="note" {
                h3 { "Look at this first" }
                ul {
                    @for caution in cautions {
                        li { (sign(Mark::Caution)) p { (unbroken(caution)) } }
                    }
                }
            }
        }
    }
}

fn pictures(input: &ReportInput, view: &ComparisonView) -> Markup {
    html! {
        @if !view.pairs.is_empty() {
            section aria-labelledby="pictures" {
                h2 #pictures { "Side by side" }
                p.lead {
                    "Both photos of a pair are scaled so that the body is equally large, with the "
                    "feet on one line. The lines lie on the photo as it was taken; the values are "
                    "corrected for where the camera stood, so the two may differ a little."
                }
                p.stroke-keys {
                    (stroke_key("body", "from landmark to landmark"))
                    (stroke_key("reference", "vertical, horizontal or a line carried on"))
                    (stroke_key("distance", "distance to the ear or to the plumb line"))
                    span.stroke-key {
                        svg viewBox="0 0 40 10" aria-hidden="true" {
                            circle.mark.covered cx="20" cy="5" r="4" {}
                        }
                        span { "a covered point, placed by what shows around it" }
                    }
                }
                div.pairs {
                    @for pair in &view.pairs { (pair_of(input, pair)) }
                }
            }
        }
    }
}

fn stroke_key(class: &str, words: &str) -> Markup {
    html! {
        span.stroke-key {
            svg viewBox="0 0 40 10" aria-hidden="true" {
                path class=(format!("stroke {class}")) d="M2 5H38" {}
            }
            span { (words) }
        }
    }
}

fn pair_of(input: &ReportInput, pair: &PairView) -> Markup {
    let records: Vec<&PhotoRecord> = pair
        .shots
        .iter()
        .filter_map(|(_, shot)| match shot {
            Shot::Photo { visit, photo } => input.visits.get(*visit)?.photos.get(*photo),
            Shot::Missing(_) => None,
        })
        .collect();
    let mut framings = picture::frame_alike(&records, PICTURE_HEIGHT).into_iter();
    let shots: Vec<(&VisitName, Result<Shown, String>)> = pair
        .shots
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
        .collect();
    // An empty frame is as large as the picture beside it, and small where there is none.
    let shape = shots.iter().find_map(|(_, shown)| {
        let framing = shown.as_ref().ok()?.encoded.framing;
        Some(format!("aspect-ratio:{}/{}", framing.width, framing.height))
    });
    html! {
        article.pair {
            h3 { (pair.title) }
            @if records.len() > 1 && !picture::comparable(&records) {
                p.aside { "Not scaled alike: the legs aren't seen in both photos." }
            }
            div.shots {
                @for (name, shown) in &shots {
                    figure {
                        @match shown {
                            Ok(shown) => { (photo(shown, &pair.title, &name.title)) }
                            Err(reason) => {
                                div.empty style=[shape.as_ref()] { p { (reason) } }
                            }
                        }
                        figcaption {
                            strong { (in_lines(name)) }
                            @if let Ok(shown) = shown {
                                ul.values {
                                    @for value in &shown.values {
                                        li { (value.short) ": " b { (value.value) } }
                                    }
                                }
                                @if let Some(setup) = &shown.setup {
                                    ul.setup { @for phrase in setup { li { (unbroken(phrase)) } } }
                                }
                            }
                        }
                    }
                }
            }
        }
    }
}

/// A photo as it appears in the report.
struct Shown {
    encoded: Encoded,
    drawing: Drawing,
    marks: Vec<Located>,
    values: Vec<Value>,
    /// Covered faces, in the picture.
    faces: Vec<Disc>,
    /// How the camera stood.
    setup: Option<Vec<String>>,
}

/// A value written beside the line that shows it.
struct Value {
    tag: Tag,
    name: String,
    /// For the narrow room beside and below the person.
    short: String,
    value: String,
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
            "{} is not beside the record. Put the record back into the visit's folder to show the \
             photo.",
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

fn photo(shown: &Shown, pose: &str, visit: &str) -> Markup {
    let Framing {
        width,
        height,
        picture_from_photo,
    } = shown.encoded.framing;
    let data = format!(
        "data:image/jpeg;base64,{}",
        STANDARD.encode(&shown.encoded.jpeg)
    );
    let values: Vec<String> = shown
        .values
        .iter()
        .map(|value| format!("{} {}", value.name, value.value))
        .collect();
    let words = format!("Photo: {pose}, {visit}. {}", values.join("; "));
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

fn numbers(view: &ComparisonView) -> Markup {
    html! {
        section.numbers aria-labelledby="numbers" {
            h2 #numbers { "Numbers" }
            @if view.groups.is_empty() {
                p { "No measure has a value at both the first and the last visit." }
            } @else {
                p.lead {
                    "A change counts only when it is larger than the smallest change that can be "
                    "told from error with 95\u{a0}% confidence (MDC95), which is its ±."
                }
                (table(view))
                p.aside { "Changes are computed before rounding." }
            }
        }
    }
}

/// Broken only between label and date.
fn in_lines(visit: &VisitName) -> Markup {
    html! {
        @for line in &visit.lines { span.line { (line) } " " }
    }
}

/// More visits than this are told by the charts; the table keeps the first and the last.
const COLUMNS: usize = 5;

fn table(view: &ComparisonView) -> Markup {
    let last = view.visits.len() - 1;
    let shown: Vec<usize> = match view.visits.len() {
        ..=COLUMNS => (0..=last).collect(),
        _ => vec![0, last],
    };
    html! {
        table.many[view.has_course] {
            colgroup {
                col.measure; col.side;
                @for _ in &shown { col; }
                col; col.mdc;
                col.verdict;
            }
            thead {
                tr {
                    th scope="col" { "Measure" }
                    th scope="col" { "Side" }
                    @for visit in &shown { th scope="col" { (in_lines(&view.visits[*visit])) } }
                    th scope="col" { "Change" @if view.has_course { ", first to last" } }
                    th scope="col" { "Smallest change beyond reading error (MDC95)" }
                    th scope="col" { "Verdict" }
                }
            }
            @for (group, rows) in &view.groups {
                tbody {
                    tr.group { th scope="rowgroup" colspan=(shown.len() + 5) { (group.title()) } }
                    @for (index, row) in rows.iter().enumerate() {
                        @let again = index > 0 && rows[index - 1].measure == row.measure;
                        (table_row(view, row, &shown, again))
                    }
                }
            }
        }
    }
}

fn table_row(view: &ComparisonView, row: &RowView, shown: &[usize], again: bool) -> Markup {
    html! {
        tr class=(class(row.verdict.mark)) .twin[row.twin] {
            th scope="row" {
                (row.name)
                @if !again && !row.twin { small { (row.meaning) "; " (row.better) } }
            }
            td data-label="Side" {
                @if row.operated {
                    span { b { (row.side) } " " b.operated { "operated" } }
                } @else if row.side.is_empty() { "–" } @else { (row.side) }
            }
            @for visit in shown {
                (value_cell(&view.visits[*visit].title, &row.values[*visit]))
            }
            td.number data-label="Change" {
                span {
                    b { (row.change) }
                    @if let Some(trend) = &row.trend { small { "straight-line trend " (trend) } }
                }
            }
            td.number data-label="MDC95" { (row.mdc95) }
            td.verdict data-label="Verdict" {
                span { (sign(row.verdict.mark)) (row.verdict.words) }
            }
        }
    }
}

fn value_cell(visit: &str, value: &ValueView) -> Markup {
    html! {
        td.number data-label=(visit) {
            span {
                @if value.words.is_empty() { "–" } @else { (value.words) }
                @if let Some(note) = value.note() { small { (note) } }
            }
        }
    }
}

fn uncompared(reasons: &[ReasonView]) -> Markup {
    html! {
        @if !reasons.is_empty() {
            section aria-labelledby="uncompared" {
                h2 #uncompared { "Not measured or not compared, and why" }
                ul.reasons {
                    @for group in reasons {
                        li {
                            p.what { (capitalised(&group.measures.join(", "))) }
                            @if let Some(heading) = &group.heading { p { (heading) } }
                            @if !group.reasons.is_empty() {
                                p.why { "Reason: " (group.reasons.join(" / ")) }
                            }
                            @if let Some(action) = group.action { p.why { (action) } }
                        }
                    }
                }
            }
        }
    }
}

fn charts(view: &ComparisonView) -> Markup {
    html! {
        @if !view.charts.is_empty() {
            section.course-of.small[!view.has_course] aria-labelledby="course" {
                h2 #course { "Course" }
                p.lead {
                    "The whiskers are the 95\u{a0}% ranges; on patients they have not been tested "
                    "yet. Where they overlap widely, don't read a change into the line."
                }
                div.charts {
                    @for chart in &view.charts { (chart_of(chart)) }
                }
            }
        }
    }
}

fn chart_of(view: &ChartView) -> Markup {
    html! {
        figure {
            figcaption {
                h3 { (view.name) }
                p { (view.unit.name().replace("deg", "degrees")) "; " (view.better) }
                p.keys {
                    @for series in view.series.iter().filter(|series| !series.side.is_empty()) {
                        span {
                            (chart::key(series)) (series.side)
                            @if series.operated { " (operated)" }
                        }
                    }
                }
            }
            (chart::chart(view))
        }
    }
}

fn notices(notices: &[NoticeView]) -> Markup {
    html! {
        @if !notices.is_empty() {
            section aria-labelledby="notes" {
                h2 #notes { "Notes on the photos" }
                dl.notices {
                    @for notice in notices {
                        div {
                            dt { (notice.about) }
                            @for text in &notice.texts { dd { (text) } }
                        }
                    }
                }
            }
        }
    }
}

fn method(view: &ComparisonView) -> Markup {
    html! {
        section.prose aria-labelledby="method" {
            h2 #method { "How it was measured, and what it can't know" }
            h3 { "From photo to number" }
            p {
                "In each photo the program finds the person, locates joints with a general "
                "pose-estimation network, and with a second one, taught on rendered people, ear, "
                "C7, acromion and the line of the back. From the size of the body in the photo, "
                "the written stature, the lens, upright edges of the room and the turn of the body "
                "it works out how the camera stood, and reads every value after correcting for "
                "that. "
                @if view.manual {
                    "Some points were placed by a person; they are taken as placed, with the "
                    "error given for them. "
                }
                "In side views only the side nearest the camera is measured."
            }
            h3 { "What the error (±) holds" }
            p {
                "How far the located points may be off, and what a photo leaves open about the "
                "camera: its distance, height, tilt and lens, the turn of the body, the stature. "
                "A change is held against the errors of both visits: MDC95 = 1.96 · √(s₁² + s₂²). "
                "Even so, about one comparison in twenty passes this limit by chance"
                @if view.compared > 1 { "; this report holds " (view.compared) }
                "."
            }
            h3 { "What it can't know" }
            ul {
                li {
                    "What clothes and hair hide. Bony points such as C7 and the acromion are "
                    "estimated from what shows; nobody has yet held that against a palpating "
                    "finger; stickers on them are joined with it, and points placed by hand go before both."
                }
                li {
                    "Errors of the network on people like this one: its accuracy was measured on "
                    "rendered people and on everyday photos, not on people after breast surgery."
                }
                li {
                    "Whether the person stood as usual and reached as far as they could; what "
                    "differs from hour to hour within one day."
                }
                li {
                    "Arm to ear is the project's own measure. No norm is published for it: "
                    "compare a person with their own earlier visits."
                }
                li {
                    "Thoracic angle and kyphosis index describe the curve of the skin. They are "
                    "not Cobb angles."
                }
                li {
                    "Reaching up while standing includes a lean and stretch of the upper back. "
                    "Don't compare these angles with those of a goniometer taken lying down."
                }
                li {
                    "Tilts and shifts are described, not judged: healthy people are asymmetric "
                    "too."
                }
            }
        }
    }
}

fn before_acting(view: &ComparisonView) -> Markup {
    let limit = view.facts.iter().find(|(name, _)| *name == view::ARM_LIMIT);
    html! {
        section.prose.before aria-labelledby="before" {
            h2 #before { "Before acting on this" }
            ul {
                li {
                    "The limits set by the surgeon and the therapist come first."
                    @if let Some((_, limit)) = limit {
                        " " strong { "Arm limit: " (limit) "." }
                        " Don't raise the arm past it, whatever this report shows."
                    }
                }
                li {
                    strong { "Stop" }
                    " a reach at sharp pain, pinching, dizziness or new swelling, and tell the "
                    "clinician."
                }
                li {
                    "Not a diagnosis: it describes photos. Local rules and licensed practice "
                    "decide; the tool proposes, a clinician approves."
                }
            }
        }
    }
}

const fn class(mark: Mark) -> &'static str {
    match mark {
        Mark::Improved => "improved",
        Mark::Worse => "worse",
        Mark::Changed => "changed",
        Mark::Same => "same",
        Mark::Unknown => "unknown",
        Mark::Caution => "caution",
    }
}

/// A sign that differs in shape, not only in colour. The words stand beside it.
pub(super) fn sign(mark: Mark) -> Markup {
    html! {
        svg class=(format!("sign {}", class(mark))) viewBox="0 0 20 20" aria-hidden="true" {
            use href=(format!("#sign-{}", class(mark))) {}
        }
    }
}

/// The shapes of the signs, once.
pub(super) fn signs() -> Markup {
    html! {
        svg.defs aria-hidden="true" width="0" height="0" {
            defs {
                g #sign-improved {
                    circle.full cx="10" cy="10" r="9" {}
                    path.on d="M5.5 10.5l3 3l6-7" {}
                }
                g #sign-worse {
                    path.full d="M1 2.5H19L10 18.5Z" {}
                    path.on d="M10 5.5v6" {}
                }
                g #sign-changed {
                    path.outline d="M10 1.5L18.5 10L10 18.5L1.5 10Z" {}
                    path.ink d="M6.5 10h7" {}
                }
                g #sign-same {
                    circle.outline cx="10" cy="10" r="8.5" {}
                    path.ink d="M6 8h8M6 12h8" {}
                }
                g #sign-unknown {
                    circle.outline.dashed cx="10" cy="10" r="8.5" {}
                }
                g #sign-caution {
                    path.full d="M10 1L19.5 18.5H0.5Z" {}
                    path.on d="M10 7v5.5M10 15v1" {}
                }
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::compare::compare;
    use crate::report::samples;

    fn report(visits: &[Visit]) -> String {
        let comparison = compare(visits);
        comparison_html(&ReportInput {
            visits,
            comparison: &comparison,
            pictures: &|_, _| Some(RgbImage::from_pixel(600, 800, image::Rgb([230, 20, 20]))),
            show_faces: false,
            program: "tragus 0.0.0",
        })
    }

    #[test]
    fn hostile_words_are_escaped() {
        let mut visits = samples::visits();
        visits[0].facts.label = Some(samples::HOSTILE.to_owned());
        visits[0].facts.case = Some("\"><img src=x>".to_owned());
        let page = report(&visits);
        assert!(!page.contains("<script"));
        assert!(!page.contains("<img"));
        assert!(page.contains("&lt;script&gt;"));
    }

    #[test]
    fn nothing_is_fetched_or_run() {
        let page = report(&samples::visits());
        for forbidden in [
            "<script", "http://", "https://", "url(", "@import", "<link", "src=",
        ] {
            assert!(!page.contains(forbidden), "{forbidden}");
        }
    }

    #[test]
    fn it_is_made_for_print() {
        let page = report(&samples::visits());
        for rule in [
            "@page",
            "A4",
            "@media print",
            "break-inside",
            "table-header-group",
        ] {
            assert!(page.contains(rule), "{rule}");
        }
    }

    #[test]
    fn the_case_code_at_the_foot_is_a_harmless_css_string() {
        assert_eq!(css_string("demo-01"), "\"demo-01\"");
        assert_eq!(
            css_string("a\"}</style>"),
            r#""a\22 \7d \3c \2f style\3e ""#
        );
    }

    #[test]
    fn visits_in_between_have_columns() {
        let mut visits = samples::visits();
        let mut between = visits[0].clone();
        between.facts.label = Some("week 3".to_owned());
        visits.insert(1, between);
        assert!(report(&visits).contains("<span class=\"line\">week 3</span>"));
    }

    #[test]
    fn verdicts_reasons_notices_and_errors_are_told() {
        let page = report(&samples::visits());
        for words in [
            "improved",
            "worse",
            "no change beyond error",
            "place the points by hand",
            samples::HAND_REASON,
            "No lens data in the files.",
            "104 ± 7°",
            "+37 ± 9°",
            "operated</b>",
            "7 weeks",
        ] {
            assert!(page.contains(words), "{words}");
        }
    }

    #[test]
    fn what_plus_minus_means_is_said_once_beside_the_first() {
        let page = report(&samples::visits());
        let body = &page[page.find("<body>").unwrap()..];
        assert_eq!(body.matches("± is the").count(), 1);
        assert!(!body.contains("one standard error"));
        let said = body.find("± is the").unwrap();
        assert!(said < body.find("<table").unwrap() && said < body.find("<figure").unwrap());
    }

    #[test]
    fn a_covered_point_is_drawn_as_one() {
        let drawn = |visits: &[Visit]| report(visits).matches("class=\"mark covered\"").count();
        let mut visits = samples::visits();
        assert_eq!(drawn(&visits), 1, "the key alone");
        for located in visits[0].photos[0].landmarks.values_mut() {
            located.covered = true;
        }
        assert!(drawn(&visits) > 3);
    }

    #[test]
    fn fewer_than_two_visits_make_a_page_too() {
        let visits = samples::visits();
        for count in [0, 1] {
            let page = report(&visits[..count]);
            assert!(page.contains("No measure has a value at both"));
        }
    }

    #[test]
    fn a_photo_that_is_not_at_hand_leaves_an_empty_frame() {
        let visits = samples::visits();
        let comparison = compare(&visits);
        let page = comparison_html(&ReportInput {
            visits: &visits,
            comparison: &comparison,
            pictures: &|visit, _| (visit == 1).then(|| RgbImage::new(600, 800)),
            show_faces: false,
            program: "tragus 0.0.0",
        });
        assert_eq!(page.matches("class=\"empty\"").count(), 2);
        assert!(page.contains("reach.jpg is not beside the record."));
        assert_eq!(page.matches("data:image/jpeg;base64,").count(), 2);
    }

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
