//! The comparison report: one HTML file with everything in it, no script, nothing fetched. It
//! prints on A4, reads on a phone, and is told without colour too.

use image::RgbImage;
use maud::{DOCTYPE, Markup, PreEscaped, html};

use crate::compare::Comparison;
use crate::visit::Visit;

use super::sign::{class, sign, signs};
use super::view::prose;
use super::view::{
    self, ChartView, ComparisonView, Mark, NoticeView, PairView, ReasonView, RowView, StandingView,
    SummaryLine, ValueView, VisitName,
};
use super::words::capitalised;
use super::{chart, photo};

pub(super) const STYLE: &str = concat!(
    include_str!("style.css"),
    include_str!("sign.css"),
    include_str!("picture.css"),
);

/// What a report is written from.
pub struct ReportInput<'a> {
    /// Oldest first.
    pub visits: &'a [Visit],
    pub comparison: &'a Comparison,
    /// The upright photo of a visit, by the indices of visit and photo; `None` when it isn't at
    /// hand.
    pub pictures: &'a dyn Fn(usize, usize) -> Option<RgbImage>,
    pub show_faces: bool,
    /// On the day that it is written; `None` where the person was not screened by then.
    pub standing: Option<&'a StandingView>,
    /// Name and version of the program.
    pub program: &'a str,
}

/// The whole report.
pub fn comparison_html(input: &ReportInput) -> String {
    let view = view::comparison(input.visits, input.comparison).standing(input.standing);
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
                        (holds(view.standing.as_ref()))
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

fn holds(standing: Option<&StandingView>) -> Markup {
    let holds = standing.map_or(&[][..], |standing| &standing.holds);
    html! {
        @if !holds.is_empty() {
            div.cautions.stop role="note" {
                h3 { (view::ASK_FIRST) }
                ul { @for hold in holds { li { (sign(Mark::Caution)) p { (hold) } } } }
            }
        }
    }
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
                    (prose::SIDE_BY_SIDE)
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
    let shots = photo::show_pair(input, pair);
    // An empty frame is as large as the picture beside it, and small where there is none.
    let shape = shots.iter().find_map(|(_, shown)| {
        let (width, height) = shown.as_ref().ok()?.size();
        Some(format!("aspect-ratio:{width}/{height}"))
    });
    html! {
        article.pair {
            h3 { (pair.title) }
            @if let Some(aside) = photo::aside(input, pair) { p.aside { (aside) } }
            div.shots {
                @for (name, shown) in &shots {
                    figure {
                        @match shown {
                            Ok(shown) => { (photo::photo(shown, &pair.title, &name.title)) }
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

fn numbers(view: &ComparisonView) -> Markup {
    html! {
        section.numbers aria-labelledby="numbers" {
            h2 #numbers { "Numbers" }
            @if view.groups.is_empty() {
                p { "No measure has a value at both the first and the last visit." }
            } @else {
                p.lead {
                    (prose::CHANGE_COUNTS)
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

/// The visits that the table has columns for: more than a few are told by the charts, and it keeps the
/// first and the last.
pub(super) fn shown_columns(view: &ComparisonView) -> Vec<usize> {
    const MOST: usize = 5;
    match view.visits.len() {
        count @ ..=MOST => (0..count).collect(),
        count => vec![0, count - 1],
    }
}

fn table(view: &ComparisonView) -> Markup {
    let shown = shown_columns(view);
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
                    (prose::WHISKERS)
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
            h2 #method { (prose::METHOD_TITLE) }
            @for part in prose::method(view) {
                h3 { (part.title) }
                @if !part.text.is_empty() { p { (part.text) } }
                @if !part.points.is_empty() {
                    ul { @for point in part.points { li { (point) } } }
                }
            }
        }
    }
}

fn before_acting(view: &ComparisonView) -> Markup {
    html! {
        section.prose.before aria-labelledby="before" {
            h2 #before { "Before acting on this" }
            ul {
                @for said in prose::before_acting(view) {
                    li {
                        @if let Some(lead) = &said.lead { strong { (lead) } " " }
                        (said.text)
                    }
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
            standing: None,
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
            standing: None,
            program: "tragus 0.0.0",
        });
        assert_eq!(page.matches("class=\"empty\"").count(), 2);
        assert!(page.contains("reach.jpg is not beside the record as it was measured."));
        assert_eq!(page.matches("data:image/jpeg;base64,").count(), 2);
    }
}
