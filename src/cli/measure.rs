//! `tragus measure`: one visit, from photos to numbers.

use std::collections::{BTreeMap, BTreeSet};
use std::io::ErrorKind;
use std::path::{Path, PathBuf};

use clap::{Args, ValueEnum};
use image::codecs::jpeg::JpegEncoder;
use jiff::civil::Date;

use tragus::body::Landmark;
use tragus::care::About;
use tragus::case::{Case, NewVisit};
use tragus::episode;
use tragus::exchange::dicom::{self, DicomError};
use tragus::exchange::{coco, fhir};
use tragus::locate::ManualPoint;
use tragus::measure::Measure;
use tragus::photo::{self, Bare};
use tragus::record;
use tragus::report;
use tragus::scores;
use tragus::visit::{NoticeKind, PhotoRecord, Visit};

use super::files::{self, Shot, VisitFiles};
use super::person::{self, PersonArgs};
use super::{LookArgs, Outcome, Stop, Surroundings, load, print, stop, tell};

#[derive(Args)]
pub struct MeasureArgs {
    /// Photos, or one folder with photos and, if there is one, a visit.json; a short clip of a reach too,
    /// where ffmpeg is installed
    #[arg(required = true, value_name = "PATH")]
    paths: Vec<PathBuf>,
    /// How to print the result
    #[arg(long, value_enum, default_value = "table")]
    format: Format,
    /// Also save the record (JSON), for tragus compare
    #[arg(long, value_name = "FILE")]
    save: Option<PathBuf>,
    /// Also file the visit, photos and record, in the folder of this case; a new one is made where
    /// there is none, under the folder's name as its code
    #[arg(long, value_name = "DIR")]
    case: Option<PathBuf>,
    /// What the visit is called: intake, week 10, ...
    #[arg(long, value_name = "TEXT")]
    label: Option<String>,
    /// The day of the visit, such as 2026-03-10
    #[arg(long, value_name = "DATE", value_parser = person::day)]
    date: Option<Date>,
    /// Also write each photo with what was found drawn on it; a hollow point in a dashed ring is
    /// covered by hair, clothes or an arm, and placed by what shows around it
    #[arg(long, value_name = "DIR")]
    overlay: Option<PathBuf>,
    /// Also write DICOM: each photo as --overlay draws it, as a secondary capture, and the measures as
    /// a structured report; of the person they hold the case code alone
    #[arg(long, value_name = "DIR")]
    dicom: Option<PathBuf>,
    /// Leave faces uncovered in the drawn photos
    #[arg(long)]
    show_faces: bool,
    /// Landmarks placed by hand, in pixels of the upright photo: JSON (photo → name → x, y), CSV
    /// (photo, landmark, x, y) or COCO keypoints
    #[arg(long, value_name = "FILE")]
    landmarks: Option<PathBuf>,
    #[command(flatten)]
    person: PersonArgs,
    #[command(flatten)]
    look: LookArgs,
}

#[derive(Clone, Copy, ValueEnum)]
enum Format {
    Table,
    Json,
    Csv,
    /// HL7 FHIR R4: a Bundle for a clinic's record
    Fhir,
    /// COCO keypoints: the landmarks, without the measures
    Coco,
}

pub fn run(args: &MeasureArgs, surroundings: &Surroundings) -> Result<Outcome, Stop> {
    let mut found = files::visit_files(&args.paths)?;
    found.facts.label = args.label.clone().or(found.facts.label);
    found.facts.date = args.date.or(found.facts.date);
    args.person.settle(&mut found.facts);
    for line in found.passed_over.lines() {
        tell(&format!("Passed over: {line}."));
    }
    let today = (surroundings.now)().date();
    let days = files::days(&found.photos);
    for doubt in days.doubts(found.facts.date, today) {
        tell(&doubt);
    }
    let offered = days.offered(today).filter(|_| found.facts.date.is_none());
    let filing = match &args.case {
        Some(folder) => Some(Filing::prepare(folder, &mut found, offered, today)?),
        None => None,
    };
    let placed = match &args.landmarks {
        Some(path) => placed(path, &found)?,
        None => BTreeMap::new(),
    };
    if let Some(path) = &args.save {
        let mut inputs = found.photos.clone();
        inputs.extend(found.clips.clone());
        inputs.extend(args.landmarks.clone());
        files::refuse_target(path, &["json"], &inputs)?;
        refuse_lost(path, &placed)?;
    }
    if let Some(folder) = &args.dicom {
        dicom::check(&found.facts).map_err(|error| dicom_stop(error, folder))?;
    }
    for folder in [&args.overlay, &args.dicom].into_iter().flatten() {
        prepare_drawn(folder, &found.photos)?;
    }
    let finder = load(&args.look, surroundings)?;
    let wish = args.person.wish();
    let (shots, notices) = files::shots(&finder, &found)?;
    if let Some(path) = &args.save {
        refuse_of_others(path, &shots)?;
    }
    // What is filed is what is measured, to the byte.
    let bare: Vec<Bare> = match filing {
        Some(_) => {
            refuse_unread(&shots)?;
            shots.iter().map(Shot::bare).collect::<Result<_, _>>()?
        }
        None => Vec::new(),
    };
    let visit = files::measure(&finder, found.facts, (&shots, notices), |index, shot| {
        let manual = placed.get(&shot.name()).cloned().unwrap_or_default();
        match bare.get(index) {
            Some(bare) => shot.bare_input(bare, wish, manual),
            None => shot.input(wish, manual),
        }
    })?;
    if let Some(path) = &args.save {
        // Somebody may have placed points on the page while the nets looked.
        refuse_lost(path, &placed)?;
        if episode::keep_record(path, record::visit_to_json(&visit).as_bytes(), today)? {
            tell("The plan of today was made by another record and is taken back: make it anew.");
        }
    }
    if let Some(filing) = filing {
        let folder = filing.file(&visit, &bare)?;
        tell(&format!("filed: {}", folder.display()));
        let original = found.photos.iter().chain(&found.clips).next();
        let original = original.expect("a visit has a photo or a clip");
        tell(&format!(
            "The filed photos hold the picture and the lens, nothing else of what the camera wrote into \
             them. The originals, with place, time and device as far as it wrote them, are still in {}.",
            files::folder_of(original).display()
        ));
    }
    if args.overlay.is_some() || args.dicom.is_some() {
        draw(&visit, &shots, args)?;
        tell(match args.show_faces {
            true => "Faces show in the drawn photos: pass none on without the person's consent.",
            false => {
                "Faces that were found are covered in the drawn photos. One may have been missed: \
                 look at each picture before you pass it on."
            }
        });
    }
    print(&match args.format {
        Format::Table => {
            hints(&visit).into_iter().for_each(tell);
            if let Some(day) = offered {
                tell(&format!("hint: {}", offer(day)));
            }
            report::visit_table(&visit)
        }
        Format::Json => record::visit_to_json(&visit),
        Format::Fhir => format!("{:#}\n", fhir::visit_bundle(&visit)?),
        Format::Coco => format!("{:#}\n", coco::visit_keypoints(&visit)),
        Format::Csv => {
            let person = visit.facts.case.as_deref().unwrap_or_default();
            scores::to_csv(&scores::rows(person, &visit.photos, &visit.readings))
        }
    })?;
    Ok(Outcome::of(visit.is_complete()))
}

/// A visit on its way into a case.
struct Filing {
    case: Option<Case>,
    folder: PathBuf,
    code: String,
    label: String,
    date: Date,
    /// What the visit itself was told; what a screening says of its day stands there.
    own_limit: Option<f64>,
    today: Date,
}

impl Filing {
    /// Refuses what can't be filed before the work is done, and takes over what the case knows.
    fn prepare(
        folder: &Path,
        found: &mut VisitFiles,
        offered: Option<Date>,
        today: Date,
    ) -> Result<Filing, Stop> {
        let facts = &mut found.facts;
        let (Some(label), Some(date)) = (facts.label.clone(), facts.date) else {
            return Err(stop(
                "a visit is filed under its day and a label",
                folder,
                match offered {
                    Some(day) => offer(day) + "; --label intake names the visit",
                    None => {
                        "add --date 2026-03-10 --label intake, or both fields to visit.json".into()
                    }
                },
            ));
        };
        if date > today {
            return Err(stop(
                format!("{date} is still to come"),
                folder,
                "check the date, and the clock of this machine",
            ));
        }
        Case::refuse_label(&label)?;
        let case = match Case::is_one(folder) {
            true => Some(Case::open(folder)?),
            false => {
                Case::refuse_begun(folder)?;
                None
            }
        };
        let code = match (&case, &facts.case) {
            (Some(case), _) => case.about.code.clone(),
            (None, Some(code)) => code.clone(),
            (None, None) => files::name(folder),
        };
        if let Some(other) = facts.case.as_ref().filter(|other| **other != code) {
            return Err(stop(
                format!("the visit says that it belongs to case {other}, and this case is {code}"),
                folder,
                "is this the right person?",
            ));
        }
        facts.case = Some(code.clone());
        let own_limit = facts.arm_limit_deg;
        if let Some(case) = &case {
            case.refuse_filed(date, &label)?;
            let earlier = case.facts_before(date)?;
            facts.stature_cm = facts.stature_cm.or(earlier.stature_cm);
            facts.operated = facts.operated.or(earlier.operated);
            episode::settle(facts, &code, &case.screenings()?);
        }
        Ok(Filing {
            case,
            folder: folder.to_owned(),
            code,
            label,
            date,
            own_limit,
            today,
        })
    }

    fn file(self, visit: &Visit, photos: &[Bare]) -> Result<PathBuf, Stop> {
        let mut visit = visit.clone();
        visit.facts.arm_limit_deg = self.own_limit;
        let new = NewVisit {
            date: self.date,
            label: &self.label,
            visit: &visit,
            photos,
        };
        // Before a case is begun for it.
        new.check()?;
        let case = match self.case {
            Some(case) => case,
            None => {
                let about = About {
                    code: self.code,
                    birth_year: None,
                    sex: None,
                };
                let case = Case::begin(&self.folder, about)?;
                tell(&format!(
                    "A new case, {}: the code stands on every sheet, so let it be no name.",
                    case.about.code
                ));
                case
            }
        };
        let (folder, taken_back) = episode::file(&mut case.write()?, &new, self.today)?;
        if taken_back {
            tell("The plan of today was made without this visit and is taken back: make it anew.");
        }
        Ok(folder)
    }
}

/// The day that the photos say, for the person to take or not.
fn offer(day: Date) -> String {
    format!(
        "the photos say {}; --date {day} takes it",
        photo::day_in_words(day)
    )
}

/// A clip that can't be read is filed by nobody: it is too large for a case, and shows nothing there.
fn refuse_unread(shots: &[Shot]) -> Result<(), Stop> {
    for shot in shots {
        if let Shot::Unread(path, why) = shot {
            return Err(stop(
                why,
                path,
                "nothing was filed; name the photos alone, or move the clip out of their folder",
            ));
        }
    }
    Ok(())
}

/// The options that would settle what the visit leaves open.
fn hints(visit: &Visit) -> Vec<&'static str> {
    let noticed = |kind| {
        let mut notices = visit.photos.iter().flat_map(|photo| &photo.notices);
        notices.any(|notice| notice.kind == kind)
    };
    let asymmetries = [Measure::FlexionAsymmetry, Measure::AbductionAsymmetry];
    let mut readings = visit.readings.iter();
    let lacks_side = visit.facts.operated.is_none()
        && readings.any(|reading| asymmetries.contains(&reading.measure));
    [
        (
            noticed(NoticeKind::View),
            "hint: --view says from where every photo was taken",
        ),
        (
            noticed(NoticeKind::Task),
            "hint: --task says whether every photo shows standing or a reach",
        ),
        (
            noticed(NoticeKind::Stature),
            "hint: --stature, or stature_cm in visit.json, gives lengths in cm",
        ),
        (
            lacks_side,
            "hint: --operated-side, or operated_side in visit.json, says which side to hold against the \
             other",
        ),
    ]
    .into_iter()
    .filter_map(|(applies, hint)| applies.then_some(hint))
    .collect()
}

/// Makes the folder for drawn photos. The photos' own folder is refused: drawn photos among them
/// would pass for photos of the visit.
fn prepare_drawn(folder: &Path, photos: &[PathBuf]) -> Result<(), Stop> {
    if photos
        .iter()
        .any(|photo| files::same_file(files::folder_of(photo), folder))
    {
        return Err(stop(
            "the photos themselves lie in this folder",
            folder,
            "name another folder for the drawn ones",
        ));
    }
    files::make_folder(folder, "name a folder")
}

/// Refuses to write over a record that holds points placed by hand which are not placed anew.
fn refuse_lost(path: &Path, placed: &BTreeMap<String, Vec<ManualPoint>>) -> Result<(), Stop> {
    let Some(kept) = record_in(path)? else {
        return Ok(());
    };
    let is_placed = |file: &str, landmark: Landmark| {
        let mut points = placed.get(file).into_iter().flatten();
        points.any(|point| point.landmark == landmark)
    };
    let lost = kept.photos.iter().find_map(|photo| {
        let mut landmarks = photo.by_hand().map(|(landmark, _)| landmark);
        let lost = landmarks.find(|landmark| !is_placed(&photo.file, *landmark));
        lost.map(|landmark| (&photo.file, landmark.words()))
    });
    match lost {
        None => Ok(()),
        Some((file, landmark)) => Err(stop(
            format!("this record holds points placed by hand, {landmark} in {file} among them"),
            path,
            "give --save another name; or review the visit with tragus serve, which keeps them",
        )),
    }
}

/// Refuses to write over the record of other photos.
fn refuse_of_others(path: &Path, shots: &[Shot]) -> Result<(), Stop> {
    let Some(kept) = record_in(path)? else {
        return Ok(());
    };
    let checksums: BTreeSet<String> = shots.iter().flat_map(Shot::checksums).collect();
    let is_here = |kept: &PhotoRecord| match &kept.sha256 {
        Some(checksum) => checksums.contains(checksum),
        None => shots.iter().any(|shot| shot.name() == kept.file),
    };
    match kept.photos.iter().find(|photo| !is_here(photo)) {
        None => Ok(()),
        Some(other) => Err(stop(
            format!(
                "this record is of another photo too, {}, or of that photo as it was",
                other.file
            ),
            path,
            "give --save another name, or move that record away first",
        )),
    }
}

/// The record that lies where one is to be written.
fn record_in(path: &Path) -> Result<Option<Visit>, Stop> {
    let hint = "give --save another name, or move that file away first";
    let text = match std::fs::read_to_string(path) {
        Err(error) if error.kind() == ErrorKind::NotFound => return Ok(None),
        text => text.map_err(|error| stop(error, path, hint))?,
    };
    match record::visit_from_json(&text) {
        Ok(visit) => Ok(Some(visit)),
        Err(_) => Err(stop(
            "there is a file already that is no record of a visit",
            path,
            hint,
        )),
    }
}

/// Hand-placed landmarks, each for a photo of this visit.
fn placed(path: &Path, found: &VisitFiles) -> Result<BTreeMap<String, Vec<ManualPoint>>, Stop> {
    let placed = files::landmarks(path)?;
    let names: Vec<String> = found
        .photos
        .iter()
        .map(|photo| files::name(photo))
        .collect();
    let is_frame = |photo: &String| {
        let mut clips = found.clips.iter().map(|clip| files::name(clip) + " at ");
        clips.any(|start| photo.starts_with(&start))
    };
    let is_stranger = |photo: &&String| !names.contains(photo) && !is_frame(photo);
    match placed.keys().find(is_stranger) {
        Some(stranger) => Err(stop(
            format!("landmarks for {stranger}, which is not a photo of this visit"),
            path,
            format!("the photos are {}", names.join(", ")),
        )),
        None => Ok(placed),
    }
}

/// Writes the drawn photos, and with them the report in DICOM.
fn draw(visit: &Visit, shots: &[Shot], args: &MeasureArgs) -> Result<(), Stop> {
    let write = |folder: &Path, name: String, bytes: &[u8]| {
        let target = folder.join(name);
        record::write_atomically(&target, bytes)
            .map_err(|error| stop(error, &target, "the folder must be writable"))
    };
    let mut study = match &args.dicom {
        Some(folder) => {
            let study = dicom::Study::of(visit).map_err(|error| dicom_stop(error, folder))?;
            Some((folder, study))
        }
        None => None,
    };
    for (record, shot) in visit.photos.iter().zip(shots) {
        let Some(photo) = shot.picture(record) else {
            continue;
        };
        let drawn = report::overlay(&photo, record, args.show_faces);
        if let Some(folder) = &args.overlay {
            let mut bytes = Vec::new();
            JpegEncoder::new_with_quality(&mut bytes, 88).encode_image(&drawn)?;
            write(folder, format!("{}{}", record.file, photo::DRAWN), &bytes)?;
        }
        if let Some((folder, study)) = &mut study {
            let bytes = study.photo(record, &drawn, args.show_faces);
            write(
                folder,
                format!("{}{}", record.file, photo::DRAWN_DICOM),
                &bytes,
            )?;
        }
    }
    if let Some((folder, study)) = study {
        write(
            folder,
            format!("measures{}", photo::REPORT_DICOM),
            &study.report(),
        )?;
    }
    Ok(())
}

fn dicom_stop(error: DicomError, folder: &Path) -> Stop {
    let hint = match error {
        DicomError::NoDate => "add --date 2026-03-10, or the date to visit.json",
        DicomError::CaseCode(_) => "use a code of at most 64 characters, without a backslash",
    };
    stop(error, folder, hint)
}
