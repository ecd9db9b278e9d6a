//! Complex numbers as alternating-current arithmetic needs them.

use std::ops::{Add, Div, Mul};

/// A phasor, or an impedance, Ω.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Phasor {
    /// Real part; of an impedance, resistance.
    pub re: f64,
    /// Imaginary part; of an impedance, reactance.
    pub im: f64,
}

impl Phasor {
    /// From its parts.
    pub const fn new(re: f64, im: f64) -> Self {
        Self { re, im }
    }

    /// Magnitude.
    pub fn abs(self) -> f64 {
        self.abs_sq().sqrt()
    }

    /// Square of the magnitude.
    pub fn abs_sq(self) -> f64 {
        self.re * self.re + self.im * self.im
    }

    /// Both in parallel.
    pub fn beside(self, other: Self) -> Self {
        self * other / (self + other)
    }
}

impl Add for Phasor {
    type Output = Self;
    fn add(self, other: Self) -> Self {
        Self::new(self.re + other.re, self.im + other.im)
    }
}

impl Mul for Phasor {
    type Output = Self;
    fn mul(self, other: Self) -> Self {
        Self::new(self.re * other.re - self.im * other.im, self.re * other.im + self.im * other.re)
    }
}

impl Div for Phasor {
    type Output = Self;
    fn div(self, other: Self) -> Self {
        let below = other.abs_sq();
        Self::new(
            (self.re * other.re + self.im * other.im) / below,
            (self.im * other.re - self.re * other.im) / below,
        )
    }
}
