//! Finds the person in a photo and looks at them several times.
//!
//! One look of the pose net has an error that the net itself can't tell. Looking again at the
//! same person mirrored, shifted, larger, smaller and turned shows how much its points wander.

use std::collections::BTreeMap;

use image::{Rgb, RgbImage};
use imageproc::drawing::draw_filled_rect_mut;
use imageproc::rect::Rect;
use ndarray::Ix1;
use rayon::prelude::*;

use super::contract::{Manifest, PoseNetKind};
use super::detector::{self, Detection};
use super::net::{InferError, Net, Tensors};
use super::pose_net::{self, NetPoint, NetPose};
use super::runtime::Runtime;
use crate::body::Landmark;
use crate::geometry::{self, Angle, Crop, Map, Point, Vector};
use crate::photo::Photo;

/// A detection below this probability is nobody.
const LEAST_DETECTION: f64 = 0.5;
/// A region in which the pose net itself sees a person with less probability is nobody.
const LEAST_PERSON: f64 = 0.5;
/// So many bystanders are looked for, to cover their faces.
const MOST_BYSTANDERS: usize = 8;

/// The pose net's answer for one look, in the photo's pixels and with the subject's sides.
#[derive(Clone, Debug)]
pub struct Sample {
    pub points: BTreeMap<Landmark, SeenPoint>,
}

impl Sample {
    /// The same look with left and right exchanged, for when the net took front for back.
    pub fn with_sides_exchanged(&self) -> Sample {
        Sample {
            points: self
                .points
                .iter()
                .map(|(landmark, point)| (landmark.mirrored(), *point))
                .collect(),
        }
    }
}

/// A landmark in the upright photo as one look saw it.
#[derive(Clone, Copy, Debug)]
pub struct SeenPoint {
    pub at: Point<geometry::Photo>,
    pub visibility: f64,
    pub presence: f64,
    /// Metres from mid-hip: x to the photo's right, y down, z away from the camera.
    pub metric: [f64; 3],
}

/// A person found in a photo.
pub struct Person {
    pub samples: Vec<Sample>,
    /// Centre and side of the square in which they were seen.
    pub centre: Point<geometry::Photo>,
    pub side: f64,
}

impl Person {
    /// Upper left and lower right corner of a box around all of the person in every look.
    pub fn extent(&self) -> (Point<geometry::Photo>, Point<geometry::Photo>) {
        let extents = || self.samples.iter().map(Extent::of);
        let edge = |of: fn(&Extent) -> f64, pick: fn(f64, f64) -> f64, start: f64| {
            extents().map(|extent| of(&extent)).fold(start, pick)
        };
        (
            Point::new(
                edge(|e| e.low.x, f64::min, f64::INFINITY),
                edge(|e| e.low.y, f64::min, f64::INFINITY),
            ),
            Point::new(
                edge(|e| e.high.x, f64::max, f64::NEG_INFINITY),
                edge(|e| e.high.y, f64::max, f64::NEG_INFINITY),
            ),
        )
    }
}

/// How much work a photo is given.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Effort {
    /// One look of the pose net at the person and two of the landmark net, none for anybody else:
    /// for thousands of photos.
    Quick,
    /// Six looks of each, and a search for everybody else, whose faces are to be covered.
    Thorough,
}

/// What the search of one photo found.
pub struct Search {
    /// The largest central person; `None` when nobody is there.
    pub person: Option<Person>,
    /// One look at everybody else; empty where they were not searched for.
    pub bystanders: Vec<Sample>,
    /// Photo pixels for a pixel of the closest look at anybody, also of one that showed nobody.
    pub closest_look: f64,
}

/// The nets, loaded once and used from any thread.
pub struct Finder {
    detector: Net,
    pose: Net,
    pub(super) landmarks: Net,
}

/// A square of the photo in which a person is looked at.
#[derive(Clone, Copy)]
struct Region {
    centre: Point<geometry::Photo>,
    side: f64,
    turn: Angle,
}

/// One way to look at a region again: shift and scale in parts of its side.
struct Look {
    mirrored: bool,
    shift: (f64, f64),
    scale: f64,
    turn: f64,
}

const fn look(mirrored: bool, shift: (f64, f64), scale: f64, turn: f64) -> Look {
    Look {
        mirrored,
        shift,
        scale,
        turn,
    }
}

/// The plain region as the detector gave it.
const FIRST_LOOK: Look = look(false, (0.0, 0.0), 1.0, 0.0);

/// The looks after it, centred on the body that the first one saw. With it there are as many plain
/// as mirrored ones, so that a left-right bias of the net cancels.
const LATER_LOOKS: [Look; 5] = [
    look(true, (0.0, 0.0), 1.0, 0.0),
    look(false, (0.02, -0.015), 1.08, 4.0),
    look(true, (-0.02, 0.015), 1.08, -4.0),
    look(false, (-0.015, 0.02), 0.94, -7.0),
    look(true, (0.015, -0.02), 0.94, 7.0),
];

impl Finder {
    /// Loads the nets, to search so many photos and to take so many looks side by side: the looks
    /// at one photo alone keep several threads busy, its search one.
    pub fn load(
        runtime: &Runtime,
        kind: PoseNetKind,
        photos: usize,
        looks: usize,
    ) -> Result<Finder, InferError> {
        let manifest = Manifest::built_in()?;
        let (detector, detector_bytes) = manifest.person_detector()?;
        let (pose, pose_bytes) = manifest.pose_net(kind)?;
        let (landmarks, landmark_bytes) = manifest.landmark_net()?;
        let (detector, (pose, landmarks)) = rayon::join(
            || Net::load(runtime, detector, detector_bytes, photos),
            || {
                rayon::join(
                    || Net::load(runtime, pose, pose_bytes, looks),
                    || Net::load(runtime, landmarks, landmark_bytes, looks),
                )
            },
        );
        Ok(Finder {
            detector: detector?,
            pose: pose?,
            landmarks: landmarks?,
        })
    }

    /// Searches the whole photo.
    pub fn search(&self, photo: &Photo, effort: Effort) -> Result<Search, InferError> {
        let (first, mut closest_look) = self.first_look(photo)?;
        let Some(first) = first else {
            return Ok(Search {
                person: None,
                bystanders: Vec::new(),
                closest_look,
            });
        };
        let (seen, region) = (first.sample(), first.region());
        let (later, (bystanders, closest)) = match effort {
            Effort::Quick => (Vec::new(), (Vec::new(), closest_look)),
            Effort::Thorough => {
                let extent = Extent::of(&seen);
                let (later, bystanders) = rayon::join(
                    || self.look_again(photo, region),
                    || self.bystanders(photo, extent),
                );
                (later?, bystanders?)
            }
        };
        closest_look = later
            .iter()
            .map(|seen| seen.photo_from_crop.scale())
            .fold(closest_look.min(closest), f64::min);
        let later = later
            .iter()
            .filter(|seen| seen.pose.score >= LEAST_PERSON)
            .map(Seen::sample);
        Ok(Search {
            person: Some(Person {
                samples: [seen].into_iter().chain(later).collect(),
                centre: region.centre,
                side: region.side,
            }),
            bystanders,
            closest_look,
        })
    }

    /// A first look at the largest central person, and how close the looks for one were.
    fn first_look(&self, photo: &Photo) -> Result<(Option<Seen>, f64), InferError> {
        let mut closest = f64::INFINITY;
        for region in self.regions(photo, &[])? {
            let seen = self.look_once(photo, &region, &FIRST_LOOK)?;
            closest = closest.min(seen.photo_from_crop.scale());
            if seen.pose.score >= LEAST_PERSON {
                return Ok((Some(seen), closest));
            }
        }
        Ok((None, closest))
    }

    /// Everybody else, and how close the looks for them were. The detector tends to report the
    /// most prominent person alone, so whoever was found is covered and the photo searched again,
    /// until nobody turns up.
    fn bystanders(&self, photo: &Photo, person: Extent) -> Result<(Vec<Sample>, f64), InferError> {
        let mut known = vec![person];
        let mut bystanders = Vec::new();
        let mut closest = f64::INFINITY;
        while bystanders.len() < MOST_BYSTANDERS {
            let mut found = None;
            for region in self.regions(photo, &known)? {
                if known.iter().any(|extent| extent.holds(region.centre)) {
                    continue;
                }
                let seen = self.look_once(photo, &region, &FIRST_LOOK)?;
                closest = closest.min(seen.photo_from_crop.scale());
                if seen.pose.score >= LEAST_PERSON {
                    found = Some(seen.sample());
                    break;
                }
            }
            let Some(sample) = found else { break };
            known.push(Extent::of(&sample));
            bystanders.push(sample);
        }
        Ok((bystanders, closest))
    }

    /// The regions of everybody in the photo, the largest central person first. What lies within
    /// `covered` is not looked at.
    fn regions(&self, photo: &Photo, covered: &[Extent]) -> Result<Vec<Region>, InferError> {
        let size = self.detector.size();
        let side = f64::from(photo.width().max(photo.height()));
        let Some(map) = Map::square(f64::from(size), photo.centre(), side, Angle::ZERO, false)
        else {
            return Ok(Vec::new());
        };
        let mut picture = photo.crop(&map, size);
        for extent in covered {
            extent.cover(&mut picture, &map.inverse());
        }
        let found = self.detector.run(&picture, &[], |tensors| {
            let flat = |name: &str, columns: usize| {
                tensors[name]
                    .view()
                    .into_shape_with_order((tensors[name].len() / columns, columns))
                    .expect("the contract fixes the shape")
            };
            let (boxes, scores) = (flat("boxes", 12), flat("scores", 1));
            detector::merge(detector::decode(boxes, scores, LEAST_DETECTION))
        })?;
        let mut ranked: Vec<(f64, Region)> = found
            .iter()
            .map(|detection| {
                (
                    prominence(detection, f64::from(size)),
                    region(detection, &map),
                )
            })
            .collect();
        ranked.sort_by(|a, b| b.0.total_cmp(&a.0));
        Ok(ranked.into_iter().map(|(_, region)| region).collect())
    }

    /// Looks at the region of one person in every later way.
    fn look_again(&self, photo: &Photo, region: Region) -> Result<Vec<Seen>, InferError> {
        LATER_LOOKS
            .par_iter()
            .map(|look| self.look_once(photo, &region, look))
            .collect()
    }

    fn look_once(&self, photo: &Photo, region: &Region, look: &Look) -> Result<Seen, InferError> {
        let size = self.pose.size();
        let turn = region.turn + Angle::from_degrees(look.turn);
        let shift = Vector::new(look.shift.0, look.shift.1) * region.side;
        let photo_from_crop = Map::square(
            f64::from(size),
            region.centre + shift,
            region.side * look.scale,
            turn,
            look.mirrored,
        )
        .ok_or(InferError::NoRegion)?;
        Ok(Seen {
            pose: self
                .pose
                .run(&photo.crop(&photo_from_crop, size), &[], decoded)?,
            photo_from_crop,
            turn,
            mirrored: look.mirrored,
        })
    }
}

/// One look at a region, still in the net's own picture.
struct Seen {
    pose: NetPose,
    photo_from_crop: Map<Crop, geometry::Photo>,
    turn: Angle,
    mirrored: bool,
}

impl Seen {
    /// The region centred on the body just seen.
    fn region(&self) -> Region {
        let mid_hip = self.photo_from_crop.apply(self.pose.mid_hip);
        let rim = self.photo_from_crop.apply(self.pose.rim);
        let (side, turn) = detector::square_around(mid_hip, rim);
        Region {
            centre: mid_hip,
            side: side.max(1.0),
            turn,
        }
    }

    fn sample(&self) -> Sample {
        let (sin, cos) = self.turn.radians().sin_cos();
        let points = self
            .pose
            .points
            .iter()
            .map(|(&landmark, point)| {
                let NetPoint {
                    at,
                    visibility,
                    presence,
                    metric: [x, y, z],
                } = *point;
                let x = if self.mirrored { -x } else { x };
                let seen = SeenPoint {
                    at: self.photo_from_crop.apply(at),
                    visibility,
                    presence,
                    metric: [x * cos - y * sin, x * sin + y * cos, z],
                };
                let landmark = if self.mirrored {
                    landmark.mirrored()
                } else {
                    landmark
                };
                (landmark, seen)
            })
            .collect();
        Sample { points }
    }
}

/// The upright box around a person.
struct Extent {
    low: Point<geometry::Photo>,
    high: Point<geometry::Photo>,
}

impl Extent {
    /// Around the landmarks, with room for the top of the head, hands and feet.
    fn of(sample: &Sample) -> Extent {
        let at = || sample.points.values().map(|point| point.at);
        let least =
            |of: fn(Point<geometry::Photo>) -> f64| at().map(of).fold(f64::INFINITY, f64::min);
        let most =
            |of: fn(Point<geometry::Photo>) -> f64| at().map(of).fold(f64::NEG_INFINITY, f64::max);
        let room = 0.1 * (most(|p| p.y) - least(|p| p.y));
        Extent {
            low: Point::new(least(|p| p.x) - room, least(|p| p.y) - room),
            high: Point::new(most(|p| p.x) + room, most(|p| p.y) + room),
        }
    }

    fn holds(&self, point: Point<geometry::Photo>) -> bool {
        (self.low.x..self.high.x).contains(&point.x) && (self.low.y..self.high.y).contains(&point.y)
    }

    /// Paints the box in the mid-grey that says nothing to the detector.
    fn cover(&self, picture: &mut RgbImage, crop_from_photo: &Map<geometry::Photo, Crop>) {
        let (low, high) = (
            crop_from_photo.apply(self.low),
            crop_from_photo.apply(self.high),
        );
        let rect = Rect::at(low.x.floor() as i32, low.y.floor() as i32).of_size(
            (high.x - low.x).ceil().max(1.0) as u32,
            (high.y - low.y).ceil().max(1.0) as u32,
        );
        draw_filled_rect_mut(picture, rect, Rgb([128, 128, 128]));
    }
}

/// How much a detection is the subject: large, and near the middle of the picture.
fn prominence(detection: &Detection, picture: f64) -> f64 {
    let middle = Point::new(picture / 2.0, picture / 2.0);
    let off_centre = detection.centre.distance(middle) / (picture / 2.0);
    detection.region_side() * (1.0 - 0.5 * off_centre.min(1.0))
}

fn region(detection: &Detection, photo_from_crop: &Map<Crop, geometry::Photo>) -> Region {
    Region {
        centre: photo_from_crop.apply(detection.mid_hip),
        side: (detection.region_side() * photo_from_crop.scale()).max(1.0),
        turn: detection.turn(),
    }
}

fn decoded(tensors: &Tensors<'_>) -> NetPose {
    let line = |name: &str| {
        tensors[name]
            .view()
            .into_shape_with_order(tensors[name].len())
            .expect("the contract fixes the shape")
            .into_dimensionality::<Ix1>()
            .expect("one row")
    };
    let heat = &tensors["heatmaps"];
    let heat = heat
        .view()
        .into_shape_with_order((heat.shape()[1], heat.shape()[2], heat.shape()[3]))
        .expect("the contract fixes the shape");
    pose_net::decode(
        line("points"),
        line("person_score")[0],
        heat,
        line("world_points"),
    )
}
