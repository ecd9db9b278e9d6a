//! Inputs of the light sensors in front of the panel's lamps.

use embassy_rp::gpio::Input;
use embedded_hal::digital::InputPin;
use pumpwitness_protocol::settings::LAMPS;

/// The inputs, lamp 1 first. A sensor that sees light pulls its input low.
pub struct Lamps(pub [Input<'static>; LAMPS]);

impl Lamps {
    /// Lamps lit; bit 0 is lamp 1.
    pub fn read(&mut self) -> u8 {
        lit(&mut self.0)
    }
}

fn lit<P: InputPin>(inputs: &mut [P]) -> u8 {
    inputs.iter_mut().enumerate().fold(0, |lit, (n, input)| {
        // The chip's own pins cannot fail to be read.
        lit | u8::from(input.is_low().unwrap_or(false)) << n
    })
}
