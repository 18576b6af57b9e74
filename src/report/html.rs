//! The comparison report: one HTML file with everything in it, no script, nothing fetched. It
//! prints on A4, reads on a phone, and is told without colour too.

use base64::Engine;
use base64::engine::general_purpose::STANDARD;
use image::RgbImage;
use maud::{DOCTYPE, Markup, PreEscaped, html};

use crate::compare::Comparison;
use crate::geometry::{Photo, Point};
use crate::measure::Measure;
use crate::visit::{PhotoRecord, Visit};

use super::lines::{self, Drawing, Stroke, Tag};
use super::picture::{self, Encoded, Framing};
use super::view::{
    self, ChartView, ComparisonView, Group, Mark, NoticeView, PairView, ReasonView, RowView, Shot,
    SummaryLine, VisitName,
};
use super::{chart, number};

const STYLE: &str = include_str!("style.css");
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
                meta charset="utf-8";
                meta name="viewport" content="width=device-width, initial-scale=1";
                meta name="generator" content=(input.program);
                title { (view.title) }
                style { (PreEscaped(STYLE)) }
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
                    }
                    (pictures(input, view))
                    (numbers(view))
                    (uncompared(&view.uncompared))
                    (charts(&view.charts))
                    (notices(&view.notices))
                    (method(view))
                    (before_acting(view))
                }
                footer {
                    p { "Written by " (input.program) ". The tool proposes; a clinician approves." }
                }
            }
        }
    }
}

fn facts(view: &ComparisonView) -> Markup {
    html! {
        dl.facts {
            @for (name, value) in &view.facts {
                div { dt { (name) } dd { (value) } }
            }
            div.visits {
                dt { "Visits" }
                dd { (visit_titles(view)) }
            }
        }
    }
}

fn visit_titles(view: &ComparisonView) -> String {
    let titles: Vec<&str> = view
        .visits
        .iter()
        .map(|visit| visit.title.as_str())
        .collect();
    titles.join(" → ")
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
fn unbroken(text: &str) -> String {
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
                    "corrected for where the camera stood, so the two may differ a little. "
                    "± is one standard error."
                }
                p.stroke-keys {
                    (stroke_key("body", "from landmark to landmark"))
                    (stroke_key("reference", "vertical, horizontal or a line carried on"))
                    (stroke_key("distance", "distance to the ear or to the plumb line"))
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
    // An empty frame is as large as the picture beside it.
    let shape = shots
        .iter()
        .find_map(|(_, shown)| shown.as_ref().ok())
        .map_or((62, 100), |shown| {
            (shown.encoded.framing.width, shown.encoded.framing.height)
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
                                div.empty style=(format!("aspect-ratio:{}/{}", shape.0, shape.1)) {
                                    p { (reason) }
                                }
                            }
                        }
                        figcaption {
                            strong { (in_lines(name)) }
                            @if let Ok(shown) = shown {
                                ul.values {
                                    @for value in &shown.values {
                                        li { (value.name) ": " b { (value.value) } }
                                    }
                                }
                                @if let Some(setup) = &shown.setup {
                                    small { (unbroken(setup)) }
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
    marks: Vec<Point<Photo>>,
    values: Vec<Value>,
    /// How the camera stood.
    setup: Option<String>,
}

/// A value written beside the line that shows it.
struct Value {
    tag: Tag,
    name: String,
    /// For the narrow room beside the person.
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
    let image = (input.pictures)(visit, photo).ok_or("The photo file isn't at hand.")?;
    let encoded = picture::encode(&image, record, framing, input.show_faces)
        .ok_or("Not shown: the face can't be covered, because it was not located.")?;
    let drawing = lines::drawing(record);
    let marks = drawing
        .landmarks
        .iter()
        .filter_map(|landmark| Some(record.landmarks.get(landmark)?.at))
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
    Ok(Shown {
        encoded,
        drawing,
        marks,
        values,
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
            @for mark in &shown.marks {
                @let (x, y) = place(*mark);
                circle.mark cx=(format!("{x:.1}")) cy=(format!("{y:.1}")) r="6" {}
            }
            (tags(&shown.values, &place, f64::from(width), f64::from(height)))
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
    values: &[Value],
    place: &dyn Fn(Point<Photo>) -> (f64, f64),
    width: f64,
    height: f64,
) -> Markup {
    let mut boxes: Vec<TagBox> = values
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
            Some(TagBox {
                from: place(value.tag.at),
                left,
                top: (y - TAG_HEIGHT / 2.0).clamp(0.0, (height - TAG_HEIGHT).max(0.0)),
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
        section aria-labelledby="numbers" {
            h2 #numbers { "Numbers" }
            @if view.groups.is_empty() {
                p { "No measure has a value at both the first and the last visit." }
            } @else {
                p.lead {
                    "± is one standard error. A change counts only when it is larger than the "
                    "smallest change that can be told from error with 95\u{a0}% confidence (MDC95)."
                }
            }
            @for (group, rows) in &view.groups { (table(view, *group, rows)) }
        }
    }
}

/// Broken only between label and date.
fn in_lines(visit: &VisitName) -> Markup {
    html! {
        @for line in &visit.lines { span.line { (line) } " " }
    }
}

fn visit_head(visit: &VisitName) -> Markup {
    html! {
        th scope="col" { (in_lines(visit)) }
    }
}

fn table(view: &ComparisonView, group: Group, rows: &[RowView]) -> Markup {
    let (Some(first), Some(last)) = (view.visits.first(), view.visits.last()) else {
        return html! {};
    };
    html! {
        table class=[view.has_course.then_some("with-trend")] {
            caption { (group.title()) }
            colgroup {
                col.measure; col.side; col.value; col.value; col.change; col.mdc;
                @if view.has_course { col.trend; }
                col.verdict;
            }
            thead {
                tr {
                    th scope="col" { "Measure" }
                    th scope="col" { "Side" }
                    (visit_head(first))
                    (visit_head(last))
                    th scope="col" { "Change" }
                    th scope="col" { "Smallest real change (MDC95)" }
                    @if view.has_course { th scope="col" { "Trend" } }
                    th scope="col" { "Verdict" }
                }
            }
            tbody {
                @for (index, row) in rows.iter().enumerate() {
                    @let again = index > 0 && rows[index - 1].measure == row.measure;
                    tr class=(class(row.verdict.mark)) {
                        th scope="row" {
                            (row.name)
                            @if !again {
                                small { (row.meaning) "; " (row.better) }
                            }
                        }
                        td data-label="Side" {
                            @if row.operated {
                                span { b { (row.side) } " " b.operated { "operated" } }
                            } @else if row.side.is_empty() { "–" } @else { (row.side) }
                        }
                        td.number data-label=(first.title) { (row.first) }
                        td.number data-label=(last.title) { (row.last) }
                        td.number data-label="Change" { b { (row.change) } }
                        td.number data-label="MDC95" { (row.mdc95) }
                        @if view.has_course {
                            td data-label="Trend" {
                                (row.trend.as_deref().unwrap_or("–"))
                            }
                        }
                        td.verdict data-label="Verdict" {
                            span { (sign(row.verdict.mark)) (row.verdict.words) }
                        }
                    }
                }
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
                            p.what { (sentence(&group.measures.join(", "))) }
                            @if let Some(heading) = group.heading { p { (heading) } }
                            p.why { "Reason: " (group.reasons.join(" / ")) }
                        }
                    }
                }
            }
        }
    }
}

/// With a capital letter in front.
fn sentence(words: &str) -> String {
    let mut characters = words.chars();
    match characters.next() {
        Some(first) => first.to_uppercase().chain(characters).collect(),
        None => String::new(),
    }
}

fn charts(charts: &[ChartView]) -> Markup {
    html! {
        @if !charts.is_empty() {
            section aria-labelledby="course" {
                h2 #course { "Course" }
                p.lead {
                    "The whiskers hold the true value with 95\u{a0}% confidence (±1.96 standard "
                    "errors). Where they overlap widely, don't read a change into the line."
                }
                div.charts {
                    @for view in charts {
                        figure {
                            figcaption {
                                h3 { (view.name) }
                                p {
                                    (view.unit.name().replace("deg", "degrees")) "; " (view.better)
                                }
                                p.keys {
                                    @for series in &view.series {
                                        @if !series.side.is_empty() {
                                            span {
                                                (chart::key(series)) (series.side)
                                                @if series.operated { " (operated)" }
                                            }
                                        }
                                    }
                                }
                            }
                            (chart::chart(view))
                        }
                    }
                }
            }
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
                "In each photo the program finds the person and locates ears and joints with a "
                "general pose-estimation network. From the size of the body in the photo, the "
                "written stature and the lens it works out where the camera stood, and reads "
                "every value after correcting for that. "
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
                    "What clothes and hair hide, and bony points under the skin, such as C7 and "
                    "the acromion, unless somebody marks them."
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
                @if let Some((_, limit)) = limit {
                    li {
                        strong { "Arm limit: " (limit) "." }
                        " Don't raise the arm past it, whatever this report shows."
                    }
                }
                li { "The limits set by the surgeon and the therapist come first." }
                li {
                    strong { "Stop" }
                    " a reach at sharp pain, pinching, dizziness or new swelling, and tell the "
                    "clinician."
                }
                li { "This report is not a diagnosis. It describes photos." }
                li {
                    "Local rules and licensed practice decide what is done. The tool proposes; a "
                    "clinician approves."
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
fn sign(mark: Mark) -> Markup {
    html! {
        svg class=(format!("sign {}", class(mark))) viewBox="0 0 20 20" aria-hidden="true" {
            use href=(format!("#sign-{}", class(mark))) {}
        }
    }
}

/// The shapes of the signs, once.
fn signs() -> Markup {
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
    fn verdicts_reasons_notices_and_errors_are_told() {
        let page = report(&samples::visits());
        for words in [
            "improved",
            "worse",
            "no change beyond error",
            samples::C7_REASON,
            samples::HAND_REASON,
            "No lens data in the files.",
            "104 ± 3°",
            "+37 ± 5°",
            "operated</b>",
            "7 weeks",
        ] {
            assert!(page.contains(words), "{words}");
        }
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
        assert_eq!(page.matches("data:image/jpeg;base64,").count(), 2);
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
