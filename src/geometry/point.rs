//! Points and vectors of one space.

use std::marker::PhantomData;
use std::ops::{Add, Mul, Neg, Sub};

use super::Angle;

/// The upright photo: pixels, x right, y down, the centre of the first pixel at (0.5, 0.5).
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Photo {}

/// The square picture a net looks at: pixels of that picture, as in [`Photo`].
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Crop {}

/// A plane of the body: millimetres, y up. In a side view x is forward (the way the person
/// faces); in a front or back view x is the subject's left.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum BodyPlane {}

/// A place in space `S`.
#[derive(Debug, PartialEq)]
pub struct Point<S> {
    pub x: f64,
    pub y: f64,
    space: PhantomData<S>,
}

/// A displacement in space `S`. Two points have a difference but no sum.
#[derive(Debug, PartialEq)]
pub struct Vector<S> {
    pub x: f64,
    pub y: f64,
    space: PhantomData<S>,
}

impl<S> Clone for Point<S> {
    fn clone(&self) -> Self {
        *self
    }
}
impl<S> Copy for Point<S> {}
impl<S> Clone for Vector<S> {
    fn clone(&self) -> Self {
        *self
    }
}
impl<S> Copy for Vector<S> {}

impl<S> Point<S> {
    pub const fn new(x: f64, y: f64) -> Self {
        Point {
            x,
            y,
            space: PhantomData,
        }
    }

    pub fn midpoint(self, other: Self) -> Self {
        Point::new((self.x + other.x) / 2.0, (self.y + other.y) / 2.0)
    }

    pub fn distance(self, other: Self) -> f64 {
        (other - self).length()
    }

    pub fn is_finite(self) -> bool {
        self.x.is_finite() && self.y.is_finite()
    }
}

impl<S> Vector<S> {
    pub const fn new(x: f64, y: f64) -> Self {
        Vector {
            x,
            y,
            space: PhantomData,
        }
    }

    pub fn length(self) -> f64 {
        self.x.hypot(self.y)
    }

    pub fn dot(self, other: Self) -> f64 {
        self.x * other.x + self.y * other.y
    }

    /// Positive when `other` lies anticlockwise of `self` in a space whose y points up.
    pub fn cross(self, other: Self) -> f64 {
        self.x * other.y - self.y * other.x
    }

    /// The unsigned angle between two vectors, 0 to 180°.
    pub fn angle_to(self, other: Self) -> Angle {
        Angle::from_radians(self.cross(other).abs().atan2(self.dot(other)))
    }
}

impl<S> Sub for Point<S> {
    type Output = Vector<S>;
    fn sub(self, other: Self) -> Vector<S> {
        Vector::new(self.x - other.x, self.y - other.y)
    }
}

impl<S> Add<Vector<S>> for Point<S> {
    type Output = Point<S>;
    fn add(self, step: Vector<S>) -> Point<S> {
        Point::new(self.x + step.x, self.y + step.y)
    }
}

impl<S> Add for Vector<S> {
    type Output = Vector<S>;
    fn add(self, other: Self) -> Vector<S> {
        Vector::new(self.x + other.x, self.y + other.y)
    }
}

impl<S> Mul<f64> for Vector<S> {
    type Output = Vector<S>;
    fn mul(self, factor: f64) -> Vector<S> {
        Vector::new(self.x * factor, self.y * factor)
    }
}

impl<S> Neg for Vector<S> {
    type Output = Vector<S>;
    fn neg(self) -> Vector<S> {
        Vector::new(-self.x, -self.y)
    }
}
