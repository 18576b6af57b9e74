//! Angles: radians inside, degrees at the edges.

use std::ops::{Add, Mul, Neg, Sub};

/// A plane angle. Nothing else in the project converts to or from degrees.
#[derive(Clone, Copy, Debug, Default, PartialEq, PartialOrd)]
pub struct Angle(f64);

impl Angle {
    pub const ZERO: Angle = Angle(0.0);

    pub const fn from_radians(radians: f64) -> Self {
        Angle(radians)
    }

    pub const fn from_degrees(degrees: f64) -> Self {
        Angle(degrees.to_radians())
    }

    pub const fn radians(self) -> f64 {
        self.0
    }

    pub const fn degrees(self) -> f64 {
        self.0.to_degrees()
    }

    pub const fn abs(self) -> Self {
        Angle(self.0.abs())
    }

    /// The same direction in (−180°, 180°].
    pub fn wrapped(self) -> Self {
        let turn = std::f64::consts::TAU;
        let folded = self.0.rem_euclid(turn);
        Angle(if folded > turn / 2.0 {
            folded - turn
        } else {
            folded
        })
    }
}

impl Add for Angle {
    type Output = Angle;
    fn add(self, other: Angle) -> Angle {
        Angle(self.0 + other.0)
    }
}

impl Sub for Angle {
    type Output = Angle;
    fn sub(self, other: Angle) -> Angle {
        Angle(self.0 - other.0)
    }
}

impl Neg for Angle {
    type Output = Angle;
    fn neg(self) -> Angle {
        Angle(-self.0)
    }
}

impl Mul<f64> for Angle {
    type Output = Angle;
    fn mul(self, factor: f64) -> Angle {
        Angle(self.0 * factor)
    }
}
