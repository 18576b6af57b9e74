//! The one way from the files of a visit to its numbers, used by every shell.

use std::fmt;

use crate::board::{self, FoundBoard, Refusal};
use crate::body::{Landmark, Side, Task, View};
use crate::checksum;
use crate::compare::{AgainstLimit, Z95};
use crate::estimate::Estimate;
use crate::geometry::{self, Angle, Point};
use crate::infer::{Effort, Finder, InferError, LandmarkLook, Person, Sample, Search};
use crate::locate::{
    self, Doubt, Landmarks, ManualPoint, Recognised, Shown, Sticker, TURNED, Turns, Wish,
};
use crate::measure::Measure;
use crate::photo::{self, BodyDirection, CameraTags, Limits, Photo, PhotoError, PhotoFault};
use crate::plumb::{self, Area, Plumb};
use crate::repeats;
use crate::scale::{self, CameraFit, Hung, Scale};
use crate::survey::{self, Scene};
use crate::visit::{Notice, NoticeKind, PhotoRecord, Reading, Visit, VisitFacts};

/// One photo of a visit.
pub struct PhotoInput {
    /// File name, without folders.
    pub file: String,
    /// The file's bytes, or why they could not be read.
    pub bytes: Result<Vec<u8>, String>,
    pub wish: Wish,
    /// Landmarks placed by hand.
    pub manual: Vec<ManualPoint>,
    pub aids: Aids,
}

/// Which aids are looked for in a photo.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Aids {
    pub board: bool,
    pub stickers: bool,
}

impl Default for Aids {
    fn default() -> Self {
        Aids {
            board: true,
            stickers: true,
        }
    }
}

/// Measures a visit. A photo that can't be read or shows nobody stays in the result with the
/// reason; only a net that fails stops the work.
pub fn measure_visit(
    finder: &Finder,
    facts: VisitFacts,
    photos: impl IntoIterator<Item = PhotoInput>,
) -> Result<Visit, InferError> {
    let measured = photos
        .into_iter()
        .map(|input| {
            let looked = look(finder, &facts, &input)?;
            Ok(looked.reckon(&facts, &input.manual))
        })
        .collect::<Result<Vec<_>, InferError>>()?;
    Ok(visit_of(facts, measured))
}

/// What the photos of a visit gave, put together.
pub fn visit_of(
    facts: VisitFacts,
    measured: impl IntoIterator<Item = (PhotoRecord, Vec<Reading>)>,
) -> Visit {
    let (photos, readings): (Vec<_>, Vec<_>) = measured.into_iter().unzip();
    let mut visit = Visit {
        facts,
        photos,
        readings: readings.into_iter().flatten().collect(),
        notices: Vec::new(),
    };
    visit.readings.extend(survey::flexion_asymmetry(
        &visit.readings,
        visit.facts.operated,
    ));
    visit.notices.extend(limit_notices(&visit));
    visit.notices.extend(repeat_notices(&visit));
    let copies: Vec<Notice> = repeats::copies(&visit)
        .map(|(copy, photo)| {
            Notice::new(format!(
                "{copy} is the same file as {photo}: it counts once."
            ))
        })
        .collect();
    visit.notices.extend(copies);
    visit
}

/// Photos of one pose that show it differently.
fn repeat_notices(visit: &Visit) -> Vec<Notice> {
    repeats::all(visit)
        .into_iter()
        .filter(|(_, _, repeats)| repeats.disagree)
        .map(|(measure, side, repeats)| {
            let side = side.map_or(String::new(), |side| format!(" ({side})"));
            Notice::new(format!(
                "{measure}{side}: {} photos differ by more than their errors explain. Do they show \
                 the same pose? The error of their mean holds all of the difference.",
                repeats.count
            ))
        })
        .collect()
}

/// Measures one photo. The record comes without a checksum.
pub fn measure_photo(
    finder: &Finder,
    facts: &VisitFacts,
    input: &PhotoInput,
    effort: Effort,
) -> Result<(PhotoRecord, Vec<Reading>), InferError> {
    let looked = look_with(finder, facts, input, effort)?;
    Ok(looked.reckon(facts, &input.manual))
}

/// What looking at a photo came to: all that takes the nets or the pixels, and nothing that a
/// hand-placed point changes. Measures are reckoned from it in milliseconds, as often as points move.
pub struct Looked {
    /// As far as looking tells it: without landmarks.
    record: PhotoRecord,
    seen: Seen,
}

enum Seen {
    Nobody,
    /// Somebody, and nothing to measure; the record says why.
    Nothing,
    Person(Box<SeenPerson>),
}

/// The person in a photo, as nets, stickers and the room around them tell.
struct SeenPerson {
    frame: Frame,
    recognised: Recognised,
    shown: Shown,
    mm_per_px: f64,
    /// As the nets alone gave them.
    landmarks: Landmarks,
    turns: Option<Turns>,
    stickers: Vec<Sticker>,
    board: Option<FoundBoard>,
    plumb: Option<Plumb>,
    faults: Vec<PhotoFault>,
}

/// What counts of a photo once it was looked at.
struct Frame {
    width: u32,
    height: u32,
    tags: CameraTags,
}

impl Frame {
    fn of(photo: &Photo) -> Frame {
        Frame {
            width: photo.width(),
            height: photo.height(),
            tags: photo.tags().clone(),
        }
    }

    fn focal_px(&self) -> Estimate {
        scale::focal_px(self.tags.focal_35mm, self.width, self.height)
    }

    fn centre(&self) -> Point<geometry::Photo> {
        Point::new(f64::from(self.width) / 2.0, f64::from(self.height) / 2.0)
    }
}

/// Looks at a photo of a visit, thoroughly. Of what is known about the visit, stature and stickers
/// matter already here.
pub fn look(finder: &Finder, facts: &VisitFacts, input: &PhotoInput) -> Result<Looked, InferError> {
    let mut looked = look_with(finder, facts, input, Effort::Thorough)?;
    looked.record.sha256 = input.bytes.as_deref().ok().map(checksum::sha256);
    Ok(looked)
}

fn look_with(
    finder: &Finder,
    facts: &VisitFacts,
    input: &PhotoInput,
    effort: Effort,
) -> Result<Looked, InferError> {
    let mut record = PhotoRecord::of(&input.file);
    let nothing = |mut record: PhotoRecord, why: Notice| {
        record.notices.push(why);
        Ok(Looked {
            record,
            seen: Seen::Nothing,
        })
    };
    let (photo, search) = match search(finder, &input.bytes, effort)? {
        Ok(found) => found,
        Err(notice) => return nothing(record, notice),
    };
    record.size = Some((photo.width(), photo.height()));
    record.faces = search
        .bystanders
        .iter()
        .filter_map(|look| locate::face_circle(std::slice::from_ref(look)))
        .collect();
    let Some(person) = search.person else {
        return Ok(Looked {
            record,
            seen: Seen::Nobody,
        });
    };
    let bystanders = record.faces.len();
    record.faces.extend(locate::face_circle(&person.samples));
    if !search.bystanders.is_empty() {
        record.notices.push(Notice::new(format!(
            "At least {} people are in this photo; the largest central one was measured. Not \
             every face may be covered: look at each picture before passing it on.",
            search.bystanders.len() + 1
        )));
    }
    if !locate::is_upright(&person.samples) {
        return nothing(
            record,
            Notice::new(
                "The person does not stand upright in this photo: nothing was measured. If the \
                 photo lies on its side, turn it upright, save it and try again.",
            ),
        );
    }
    let Some((recognised, samples, stature_px)) = recognise(&person.samples, &photo, input.wish)
    else {
        return nothing(
            record,
            Notice::new(
                "The person's joints could not be made out in this photo. Step back until the \
                 whole person is in view, from the head to the feet, with light from the front.",
            ),
        );
    };
    let (photo, looks) = look_closer(
        finder,
        photo,
        &input.bytes,
        (&samples, recognised.view),
        effort,
    )?;
    for face in record.faces.iter_mut().skip(bystanders) {
        *face = locate::with_features_of(*face, &looks);
    }
    let mm_per_px = facts.stature_cm.unwrap_or(USUAL_STATURE_CM) * 10.0 / stature_px;
    let seeks_stickers = effort == Effort::Thorough && input.aids.stickers;
    let found = match input.aids.board {
        true => board::find(&photo),
        false => Ok(None),
    };
    let board = match found {
        Ok(found) => found,
        Err(Refusal::Mirrored) => {
            return nothing(
                record,
                Notice::new(
                    "This photo is mirrored, as the board in it tells: left and right are \
                     exchanged, so nothing was measured. Turn off the camera's mirroring and take \
                     the photo again.",
                ),
            );
        }
        Err(refusal) => {
            record.notices.push(board_notice(refusal));
            None
        }
    };
    let shown = Shown {
        view: recognised.view,
        task: recognised.task,
        size: (photo.width(), photo.height()),
        stature: stature_px,
    };
    let mut landmarks = locate::combine(&samples, shown.view, shown.task, shown.size);
    let turns = locate::refine(&mut landmarks, &looks, shown);
    // The detail for stickers takes time, and few photos show anything like them.
    let stickers = if seeks_stickers
        && locate::may_wear_stickers(&photo, &landmarks, &looks, shown, mm_per_px)
    {
        let finer = finer(&photo, &input.bytes, locate::sticker_scale(mm_per_px));
        let photo = finer.as_ref().unwrap_or(&photo);
        locate::find_stickers(
            photo,
            &landmarks,
            &looks,
            shown,
            mm_per_px,
            facts.sticker_mm,
        )
    } else {
        Vec::new()
    };
    // Nobody sees the faults of a photo among thousands.
    let faults = match effort {
        Effort::Quick => Vec::new(),
        Effort::Thorough => photo::judge(&photo, person.centre, person.side),
    };
    Ok(Looked {
        seen: Seen::Person(Box::new(SeenPerson {
            frame: Frame::of(&photo),
            plumb: read_plumb(&photo, &person),
            recognised,
            shown,
            mm_per_px,
            landmarks,
            turns,
            stickers,
            board,
            faults,
        })),
        record,
    })
}

impl Looked {
    /// The photo's record and measures, with these landmarks placed by hand.
    pub fn reckon(
        &self,
        facts: &VisitFacts,
        manual: &[ManualPoint],
    ) -> (PhotoRecord, Vec<Reading>) {
        let mut record = self.record.clone();
        match &self.seen {
            Seen::Nobody => {
                record.notices.extend(nobody(manual));
                (record, Vec::new())
            }
            Seen::Nothing => (record, Vec::new()),
            Seen::Person(person) => person.reckon(record, facts, manual),
        }
    }
}

fn nobody(manual: &[ManualPoint]) -> impl Iterator<Item = Notice> {
    let unused = (!manual.is_empty()).then_some(
        "The points placed by hand were not used, since nobody was found in this photo.",
    );
    let nobody = "Nobody was found in this photo. Is it the right way up, with the whole person in \
                  view and lit from the front?";
    unused.into_iter().chain([nobody]).map(Notice::new)
}

impl SeenPerson {
    fn reckon(
        &self,
        mut record: PhotoRecord,
        facts: &VisitFacts,
        manual: &[ManualPoint],
    ) -> (PhotoRecord, Vec<Reading>) {
        let (recognised, plumb, turns) = (&self.recognised, self.plumb, self.turns.as_ref());
        let (landmarks, contradictions) = self.place(manual);
        let hung =
            read_board(&self.frame, self.board.as_ref(), facts, plumb).unwrap_or_else(|notice| {
                record.notices.push(notice);
                None
            });
        let camera = fit_camera(
            &self.frame,
            facts,
            recognised,
            (plumb, hung),
            turns,
            &landmarks,
        );
        record.view = Some(recognised.view);
        record.task = Some(recognised.task);
        record.setup = camera.as_ref().map(CameraFit::setup);
        record.notices.extend(contradictions);
        record
            .notices
            .extend(doubtful_points(manual, &landmarks, self.shown));
        record.notices.extend(notices(
            &self.frame,
            &self.faults,
            recognised,
            recognised.apparent_turn(turns),
            &landmarks,
            camera.as_ref(),
        ));
        if camera
            .as_ref()
            .is_some_and(|camera| camera.contradicts_board)
        {
            record.notices.push(Notice::new(
                "The board and the body in this photo do not fit each other, so the board was not \
                 used. Was it printed at 100 %, does it hang plumb beside the hip, is the stature \
                 right?",
            ));
        }
        if let Some(camera) = camera.as_ref().filter(|camera| !camera.by_board) {
            record.notices.extend(tilt_notice(plumb, camera));
        }
        let readings = survey::read(&Scene {
            file: &record.file,
            view: recognised.view,
            task: recognised.task,
            landmarks: &landmarks,
            stature_px: self.shown.stature,
            camera: camera.as_ref(),
            operated: facts.operated,
        });
        record.landmarks = landmarks.found;
        (record, readings)
    }

    /// What nets, stickers and the user say about the places of the landmarks, and who contradicted
    /// whom.
    fn place(&self, manual: &[ManualPoint]) -> (Landmarks, Vec<Notice>) {
        let mut landmarks = self.landmarks.clone();
        let inside: Vec<ManualPoint> = manual
            .iter()
            .filter(|point| is_inside(point, self.shown.size))
            .copied()
            .collect();
        let mut notices =
            locate::place_stickers(&mut landmarks, &self.stickers, &inside, self.mm_per_px);
        notices.extend(locate::place(&mut landmarks, &inside, self.shown.stature));
        (landmarks, notices)
    }
}

/// Reads a photo and searches it: a reduced copy at first, and one with more detail where the person
/// turns out too small for that.
fn search(
    finder: &Finder,
    bytes: &Result<Vec<u8>, String>,
    effort: Effort,
) -> Result<Result<(Photo, Search), Notice>, InferError> {
    let found = |photo| -> Result<Result<(Photo, Search), Notice>, InferError> {
        match photo {
            Ok(photo) => {
                let search = finder.search(&photo, effort)?;
                Ok(Ok((photo, search)))
            }
            Err(notice) => Ok(Err(notice)),
        }
    };
    let reduced = found(decode(bytes, Photo::decode_reduced))?;
    match &reduced {
        Ok((photo, search)) if !photo.has_detail(search.closest_look) => {
            let closest = search.closest_look;
            found(decode(bytes, |bytes, limits| {
                Photo::decode_for(bytes, limits, closest)
            }))
        }
        _ => Ok(reduced),
    }
}

fn decode(
    bytes: &Result<Vec<u8>, String>,
    read: impl Fn(&[u8], Limits) -> Result<Photo, PhotoError>,
) -> Result<Photo, Notice> {
    let bytes = bytes
        .as_ref()
        .map_err(|why| Notice::new(format!("This photo could not be read: {why}.")))?;
    read(bytes, Limits::default()).map_err(|PhotoError { kind }| {
        Notice::new(format!(
            "This photo could not be read: {kind}. What helps: {}.",
            kind.hint()
        ))
    })
}

/// What the looks of the pose net show, with left and right as they are; and how many pixels tall
/// the person would stand upright.
fn recognise(
    samples: &[Sample],
    photo: &Photo,
    wish: Wish,
) -> Option<(Recognised, Vec<Sample>, f64)> {
    let recognised = locate::recognise(samples, wish)?;
    let samples: Vec<Sample> = if recognised.swapped {
        samples.iter().map(Sample::with_sides_exchanged).collect()
    } else {
        samples.to_vec()
    };
    let stature = locate::stature_px(&samples, (photo.width(), photo.height()))?;
    Some((recognised, samples, stature))
}

/// Looks at trunk and head with the landmark net. Where that needs more detail than the photo was
/// read with, the photo is read again; the one that was looked at comes back.
fn look_closer(
    finder: &Finder,
    photo: Photo,
    bytes: &Result<Vec<u8>, String>,
    (samples, view): (&[Sample], View),
    effort: Effort,
) -> Result<(Photo, Vec<LandmarkLook>), InferError> {
    let Some(squares) = locate::squares(samples, (photo.width(), photo.height())) else {
        return Ok((photo, Vec::new()));
    };
    let close_ups = finder.plan_close_ups(&squares, view, effort);
    let closest = close_ups.closest_look();
    let photo = finer(&photo, bytes, closest).unwrap_or(photo);
    let looks = finder.look_closer(&photo, &close_ups)?;
    Ok((photo, looks))
}

/// The photo with the detail for a crop of that scale, where it was read with less. Should it not
/// fit into memory, less detail is better than none.
fn finer(photo: &Photo, bytes: &Result<Vec<u8>, String>, scale: f64) -> Option<Photo> {
    if photo.has_detail(scale) {
        return None;
    }
    decode(bytes, |bytes, limits| {
        Photo::decode_for(bytes, limits, scale)
    })
    .ok()
}

/// What it takes to tell a sticker by its size, where no stature is given.
const USUAL_STATURE_CM: f64 = 165.0;

fn is_inside(point: &ManualPoint, (width, height): (u32, u32)) -> bool {
    (0.0..=f64::from(width)).contains(&point.at.x)
        && (0.0..=f64::from(height)).contains(&point.at.y)
}

/// Farther from the shoulder than this part of stature, a point of neck, shoulder or upper back
/// was hardly meant to be there: the lowest of them, T12, lies at 0.2.
const FAR_FROM_SHOULDER: f64 = 0.3;

/// Says which hand-placed points were left out, and which look misplaced. Those are used all the
/// same: whoever palpates knows better.
fn doubtful_points(manual: &[ManualPoint], landmarks: &Landmarks, shown: Shown) -> Vec<Notice> {
    use Landmark::{Acromion, C7, ShoulderJoint, T4, T8, T12, Tragus};
    let shoulder = Side::BOTH
        .into_iter()
        .find_map(|side| landmarks.found.get(&ShoulderJoint(side)));
    let is_far = |point: &ManualPoint| {
        let near_shoulder = matches!(point.landmark, C7 | T4 | T8 | T12 | Acromion(_) | Tragus(_));
        let far = FAR_FROM_SHOULDER * shown.stature;
        near_shoulder && shoulder.is_some_and(|s| s.at.distance(point.at) > far)
    };
    let (inside, outside): (Vec<&ManualPoint>, Vec<&ManualPoint>) = manual
        .iter()
        .partition(|point| is_inside(point, shown.size));
    let (width, height) = shown.size;
    let left_out = outside.into_iter().map(|point| {
        format!(
            "The {} placed by hand lies outside the photo (x {:.0}, y {:.0}; the photo is {width} \
             × {height}) and was left out.",
            point.landmark, point.at.x, point.at.y,
        )
    });
    let far: Vec<Landmark> = inside
        .into_iter()
        .filter(|point| is_far(point))
        .map(|point| point.landmark)
        .collect();
    let odd = locate::odd_by_hand(landmarks, shown.view, shown.stature)
        .into_iter()
        .filter(|odd| !far.contains(&odd.landmark) && !far.contains(&odd.from));
    let by_hand = |landmark| manual.iter().any(|point| point.landmark == landmark);
    let odd = odd.map(|odd| {
        let (landmark, from, how) = (odd.landmark, odd.from, odd.how);
        let lies = match by_hand(landmark) {
            true => format!(
                "The {landmark} placed by hand lies {how}, seen from {}",
                from.in_words()
            ),
            false => format!(
                "Seen from the {from} placed by hand, {} lies {how}",
                landmark.in_words()
            ),
        };
        format!("{lies}: no body has it there. It was used all the same: is the place right?")
    });
    left_out
        .chain(far.iter().map(|landmark| {
            format!(
                "The {landmark} placed by hand lies far from the shoulder. It was used all the \
                 same: is the place right?"
            )
        }))
        .chain(odd)
        .map(Notice::new)
        .collect()
}

/// How the camera was held, by what stands upright around the person.
fn read_plumb(photo: &Photo, person: &Person) -> Option<Plumb> {
    let (low, high) = person.extent();
    let focal = scale::focal_px(photo.tags().focal_35mm, photo.width(), photo.height());
    plumb::read(photo, focal, &Area { low, high })
}

/// How well a tape tells how far the board hangs from the body's middle, mm. Common practice.
const OFFSET_SIGMA: f64 = 20.0;

/// A board farther off the uprights of the room than this many sigmas does not hang plumb.
const ASKEW: f64 = 3.0;

/// What the printed board beside the person tells of the camera, or why it is not used.
fn read_board(
    frame: &Frame,
    found: Option<&FoundBoard>,
    facts: &VisitFacts,
    plumb: Option<Plumb>,
) -> Result<Option<Hung>, Notice> {
    let Some(found) = found else {
        return Ok(None);
    };
    let pose = board::pose(found, frame.focal_px(), frame.centre(), &board::HUNG_FREELY)
        .ok_or_else(|| board_notice("no camera would see it like this"))?;
    if let Some(Plumb { roll, .. }) = plumb {
        let askew = pose.roll().value - roll.value;
        if askew.abs() > ASKEW * pose.roll().sigma.hypot(roll.sigma) {
            return Err(board_notice(
                "it leans against the uprights of the room; hang it freely and wait until it is \
                 still",
            ));
        }
    }
    let offset = match facts.board_offset_cm {
        Some(cm) => Estimate::new(10.0 * cm, OFFSET_SIGMA),
        None => board::BESIDE_THE_HIP,
    };
    Ok(Some(pose.hung(offset)))
}

fn board_notice(why: impl fmt::Display) -> Notice {
    Notice::new(format!("The board in this photo was not used: {why}."))
}

fn tilt_notice(plumb: Option<Plumb>, camera: &CameraFit) -> Option<Notice> {
    if let Some(leaning) = camera.leaning {
        return Some(Notice::new(format!(
            "The person leans as a whole by about {:.0}° in this photo, and no straight upright \
             edge around them tells whether the camera was tilted. Take the photo again with the \
             camera level: until then angles against the vertical are far less sure.",
            leaning.abs().degrees(),
        )));
    }
    match plumb {
        None => Some(Notice::new(
            "No straight upright edge was made out around the person, so how far the camera was \
             tilted sideways is known to 1.5° only, and angles against the vertical are less sure. \
             A door frame or the corner of a wall in view, and a level camera, help.",
        )),
        Some(Plumb {
            roll, pitch: None, ..
        }) => Some(Notice::new(format!(
            "What should stand upright leans by about {:.0}° in this photo. If the camera was \
             tilted, take the photo again with the camera level: until then angles against the \
             vertical are less sure.",
            2.0 * Angle::from_radians(roll.value.abs()).degrees(),
        ))),
        Some(_) => None,
    }
}

fn fit_camera(
    frame: &Frame,
    facts: &VisitFacts,
    recognised: &Recognised,
    (plumb, hung): (Option<Plumb>, Option<Hung>),
    turns: Option<&Turns>,
    landmarks: &Landmarks,
) -> Option<CameraFit> {
    scale::fit(&scale::Evidence {
        view: recognised.view,
        task: recognised.task,
        width: frame.width,
        height: frame.height,
        focal_35mm: frame.tags.focal_35mm,
        stature: facts.stature_cm.map(|cm| cm * 10.0),
        trunk_turn: Some(recognised.apparent_turn(turns)),
        head_turn: turns.map(|seen| seen.head),
        roll: plumb.map(|seen| seen.roll),
        pitch: plumb.and_then(|seen| seen.pitch),
        correlation: plumb.map_or(0.0, |seen| seen.correlation),
        hung,
        landmarks: &landmarks.found,
    })
}

/// A smaller person than this leaves too few pixels between landmarks: the smallest of the truth set.
const SMALL_PX: f64 = 220.0;

fn notices(
    frame: &Frame,
    faults: &[PhotoFault],
    recognised: &Recognised,
    turn: Estimate,
    landmarks: &Landmarks,
    camera: Option<&CameraFit>,
) -> Vec<Notice> {
    let mut notices: Vec<Notice> = recognised
        .doubts
        .iter()
        .map(|doubt| doubt_notice(*doubt, recognised.task))
        .collect();
    let oblique = matches!(recognised.view, View::Oblique(_));
    if oblique {
        let turned = Angle::from_radians(turn.value).abs().degrees();
        match recognised.refused_wish {
            Some(wish) => notices.push(Notice::about(
                NoticeKind::View,
                format!(
                    "This photo was said to be taken from the {}, but the person is turned by \
                     about {turned:.0}° from that: nothing was measured. Say from where it was \
                     taken, or leave that to the photo.",
                    wish.name()
                ),
            )),
            None => notices.push(Notice::new(
                "The person is turned between front and side: nothing can be measured. Stand \
                 exactly sideways to the camera, or face it.",
            )),
        }
    }
    notices.extend(mirrored_notice(frame, recognised.view));
    if frame.tags.text_in_picture {
        notices.push(Notice::about(
            NoticeKind::TextInPicture,
            "The file says that text is part of this picture. It may name the person: look at it before you \
             pass the picture on.",
        ));
    }
    let mut texts: Vec<String> = Vec::new();
    let seen = Angle::from_radians(turn.value);
    // One who may as well stand straight is not asked to turn.
    let surely = turn.value.abs() > 2.0 * turn.sigma;
    if !oblique && seen.abs() > TURNED && surely {
        let way = if turn.value > 0.0 { "right" } else { "left" };
        texts.push(format!(
            "The person seems turned by about {:.0} ± {:.0}°. Next time, a little turn to the \
             person's own {way} would set it straight.",
            seen.abs().degrees(),
            Angle::from_radians(Z95 * turn.sigma).degrees()
        ));
    }
    texts.extend(faults.iter().map(|fault| {
        match fault {
            PhotoFault::Blurred => {
                "The photo is blurred: landmarks are less sure. Rest the camera on something."
            }
            PhotoFault::TooDark => "The photo is very dark. Turn on a light in front.",
            PhotoFault::TooBright => "The photo is very bright. Turn away from the window.",
        }
        .to_owned()
    }));
    texts.extend(framing(frame, recognised, landmarks));
    texts.extend(covered(recognised.view, landmarks));
    if frame.tags.cropped {
        texts.push(
            "The photo was cropped or zoomed after it was taken, so its focal length no longer \
             holds; distances are less sure. Use the original."
                .to_owned(),
        );
    } else if frame.tags.focal_35mm.is_none() {
        texts.push(
            "The file does not say the focal length, so a usual one was assumed with a wide error. \
             The camera's original file says it."
                .to_owned(),
        );
    }
    if frame.tags.pixel_size {
        texts.push(
            "The file states how large a pixel is. It does not say how far from the body that \
             holds, nor how sure it is, so it was not used: the stature or a printed board gives \
             the scale."
                .to_owned(),
        );
    }
    notices.extend(texts.into_iter().map(Notice::new));
    notices.extend(camera.and_then(|camera| scale_notice(camera.scale)));
    notices
}

/// Says when the photo's right is not where the file says that it is.
fn mirrored_notice(frame: &Frame, view: View) -> Option<Notice> {
    let (seen, of_the_person) = match view {
        View::Front => (BodyDirection::Left, "left side"),
        View::Back => (BodyDirection::Right, "right side"),
        View::Side(Side::Left) => (BodyDirection::Posterior, "back"),
        View::Side(Side::Right) => (BodyDirection::Anterior, "front"),
        View::Oblique(_) => return None,
    };
    let stated = frame.tags.right?;
    (stated != seen).then(|| {
        Notice::about(
            NoticeKind::View,
            format!(
                "The right of this photo shows the person's {of_the_person}, and the file says \
                 otherwise: it may be mirrored, with left and right exchanged. Check the picture."
            ),
        )
        .at_home_as(
            "This photo may be mirrored, with left and right exchanged. If the wrong arm is named, \
             do not use this answer.",
        )
    })
}

fn scale_notice(scale: Scale) -> Option<Notice> {
    match scale {
        Scale::NoStature => Some(
            Notice::about(
                NoticeKind::Stature,
                "No stature is given, so angles are measured and lengths in cm are not.",
            )
            .at_home_as("Nobody said how tall you are, so distances are not told in cm."),
        ),
        Scale::Misfit => Some(Notice::new(
            "The body in the photo does not fit a standing person of this stature, so lengths in \
             cm are not measured. Is the whole person in view, and the stature right?",
        )),
        Scale::Known | Scale::TooLittleSeen => None,
    }
}

fn doubt_notice(doubt: Doubt, task: Task) -> Notice {
    match doubt {
        Doubt::FrontOrBack => Notice::about(
            NoticeKind::View,
            "Face, feet and shoulders do not agree on which way the person faces: left and right \
             may be exchanged, and with them the signs of what is measured. Check the picture.",
        )
        .at_home_as(
            "Which way you face is not clear in this photo: left and right may be exchanged. If \
             the wrong arm is named, do not use this answer.",
        ),
        Doubt::Facing => Notice::about(
            NoticeKind::View,
            "Which way the person faces was hard to tell: sides and signs may be exchanged. Check \
             the picture.",
        )
        .at_home_as(
            "Which way you face was hard to tell in this photo. If the wrong arm is named, do not \
             use this answer.",
        ),
        Doubt::StandOrReach => {
            let taken = format!(
                "The arm is neither hanging nor clearly raised; this photo was taken as \"{}\".",
                task.name()
            );
            let at_home = format!(
                "{taken} If that is wrong, your therapist can have it measured as the other."
            );
            Notice::about(NoticeKind::Task, taken).at_home_as(at_home)
        }
    }
}

/// What lies over the points from which posture is measured; from behind hair belongs over the ears.
fn covered(view: View, landmarks: &Landmarks) -> Option<String> {
    if view == View::Back {
        return None;
    }
    let names: Vec<String> = landmarks
        .found
        .iter()
        .filter(|(_, located)| located.covered)
        .filter_map(|(landmark, _)| match landmark {
            Landmark::Tragus(side) => Some(format!("{side} ear")),
            Landmark::C7 => Some("C7".to_owned()),
            _ => None,
        })
        .collect();
    (!names.is_empty()).then(|| {
        format!(
            "Hair, clothes or an arm seem to cover: {}. Placed by what shows around it, with a \
             wider error. With ear and neck free, where that suits the person, it would be surer.",
            names.join(", ")
        )
    })
}

fn framing(frame: &Frame, recognised: &Recognised, landmarks: &Landmarks) -> Vec<String> {
    use crate::body::Landmark::*;
    let mut texts = Vec::new();
    let size = (frame.width, frame.height);
    let near = |side: Side| recognised.view.near_side().is_none_or(|near| near == side);
    let sides = || Side::BOTH.into_iter().filter(|side| near(*side));
    let at_edge: Vec<String> = sides()
        .flat_map(|side| [Wrist(side), Ankle(side), Elbow(side)])
        .filter(|landmark| {
            landmarks
                .found
                .get(landmark)
                .is_some_and(|located| locate::is_at_edge(located.at, size))
                || landmarks.missing.get(landmark) == Some(&locate::Missing::OutsidePhoto)
        })
        .map(|landmark| landmark.words())
        .collect();
    if !at_edge.is_empty() {
        texts.push(format!(
            "Not wholly in the photo: {}. Step back until head, hands and feet are in view.",
            at_edge.join(", ")
        ));
    }
    let extent = |from, to| {
        let (from, to) = (landmarks.found.get(&from)?, landmarks.found.get(&to)?);
        Some(from.at.distance(to.at))
    };
    let tall = sides()
        .filter_map(|side| extent(ShoulderJoint(side), Ankle(side)))
        .fold(0.0, f64::max);
    if tall > 0.0 && tall < SMALL_PX {
        texts.push(
            "The person is small in the photo. Come nearer, or use the photo at its full size."
                .to_owned(),
        );
    }
    texts
}

/// Says when an arm was, or may have been, at or above the limit set for this person.
fn limit_notices(visit: &Visit) -> Vec<Notice> {
    visit
        .measured()
        .filter(|(reading, _)| {
            matches!(
                reading.measure,
                Measure::ShoulderFlexion | Measure::ShoulderAbduction
            )
        })
        .filter_map(|(reading, elevation)| {
            let side = reading.side?;
            let limit = visit.facts.arm_limit(side)?;
            let (kind, then) = match AgainstLimit::of(elevation, limit) {
                AgainstLimit::Above => (
                    NoticeKind::AboveLimit,
                    "Do not raise it that far again before the surgeon or therapist allows it.",
                ),
                AgainstLimit::MayBeAbove => (
                    NoticeKind::MayBeAboveLimit,
                    "One photo can't tell for sure. Do not raise it that far again before the \
                     surgeon or therapist allows it.",
                ),
                AgainstLimit::MayBeAt => (
                    NoticeKind::MayBeAtLimit,
                    "One photo can't tell for sure. Keep it lower than this.",
                ),
                AgainstLimit::Below => return None,
            };
            Some(Notice::about_limit(
                kind,
                format!(
                    "the {side} arm was raised to {:.1} ± {:.1}° ({}), and the limit set for this \
                     person is {limit}°. {then}",
                    elevation.value,
                    Z95 * elevation.sigma,
                    reading.photo
                ),
            ))
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn told(value: f64, sigma: f64, limit: f64) -> Option<Notice> {
        let facts = VisitFacts {
            arm_limit_deg: Some(limit),
            ..VisitFacts::default()
        };
        let reading = Reading {
            measure: Measure::ShoulderFlexion,
            side: Some(Side::Right),
            photo: "reach.jpg".to_owned(),
            outcome: Ok(Estimate::new(value, sigma)),
        };
        visit_of(facts, [(PhotoRecord::of("reach.jpg"), vec![reading])])
            .notices
            .pop()
    }

    #[test]
    fn the_error_decides_what_is_said_of_a_limit() {
        let kind = |value| told(value, 5.1 / Z95, 90.0).map(|notice| notice.kind);
        assert_eq!(kind(84.8), None);
        assert_eq!(kind(85.0), Some(NoticeKind::MayBeAtLimit));
        assert_eq!(kind(90.1), Some(NoticeKind::MayBeAboveLimit));
        assert_eq!(kind(95.2), Some(NoticeKind::AboveLimit));
        assert_eq!(
            told(89.4, 5.1 / Z95, 90.0).expect("a notice").text,
            "May be at the set limit: the right arm was raised to 89.4 ± 5.1° (reach.jpg), and the \
             limit set for this person is 90°. One photo can't tell for sure. Keep it lower than \
             this."
        );
        assert!(
            told(100.0, 1.0, 92.5)
                .expect("a notice")
                .text
                .contains("92.5°")
        );
    }
}
