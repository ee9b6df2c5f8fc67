//! A shoot in, every unit's samples out: whole, in memory, or a stretch at a time for shoots of any length.

use rayon::prelude::*;

use crate::error::Result;
use crate::field::Field;
use crate::shoot::Shoot;
use crate::truth::Truth;
use crate::unit::UnitStream;

/// A shoot that has been performed, in memory.
#[derive(Debug, Clone)]
pub struct Performance {
    /// Everything there is to know about it.
    pub truth: Truth,
    /// What each unit recorded, in the shoot's order.
    pub units: Vec<Recorded>,
}

/// What one unit recorded.
#[derive(Debug, Clone, PartialEq)]
pub struct Recorded {
    /// The unit's name.
    pub name: String,
    /// Its nominal rate, samples a second.
    pub rate_hz: u32,
    /// One plane a channel, all of one length; full scale is 1, not rounded to any encoding.
    pub planes: Vec<Vec<f64>>,
}

impl Shoot {
    /// Performs the shoot in memory: 8 bytes a sample.
    ///
    /// # Errors
    /// When the plan contradicts itself or a recording cannot be read.
    pub fn perform(&self) -> Result<Performance> {
        let mut units: Vec<Recorded> = self
            .units
            .iter()
            .map(|unit| Recorded {
                name: unit.name.clone(),
                rate_hz: unit.rate_hz,
                planes: vec![Vec::new(); unit.channels.len()],
            })
            .collect();
        self.perform_blocks(|unit, stretch| {
            for (plane, samples) in units[unit].planes.iter_mut().zip(stretch) {
                plane.extend_from_slice(samples);
            }
            Ok(())
        })?;
        Ok(Performance {
            truth: Truth::of(self)?,
            units,
        })
    }

    /// Performs the shoot and hands each unit's samples on as they come: the unit's index and one plane a channel,
    /// stretches in order. Memory does not grow with the length.
    ///
    /// # Errors
    /// As [`Self::perform`], and whatever `take` returns.
    pub fn perform_blocks(
        &self,
        mut take: impl FnMut(usize, &[Vec<f64>]) -> Result<()>,
    ) -> Result<()> {
        self.validate()?;
        let mut field = Field::new(self)?;
        let mut mics = 0;
        let mut units: Vec<UnitStream> = (0..self.units.len())
            .map(|index| UnitStream::new(self, &field, index, &mut mics))
            .collect();
        let hop = field.hop();
        while units.iter().any(|unit| !unit.is_done()) {
            let block = field.next();
            let stretches: Vec<Vec<Vec<f64>>> = units
                .par_iter_mut()
                .map(|unit| unit.advance(&block, hop))
                .collect();
            for (unit, stretch) in stretches.iter().enumerate() {
                if stretch.first().is_some_and(|plane| !plane.is_empty()) {
                    take(unit, stretch)?;
                }
            }
        }
        Ok(())
    }
}

impl Performance {
    /// What the unit of this name recorded.
    #[must_use]
    pub fn unit(&self, name: &str) -> Option<&Recorded> {
        self.units.iter().find(|unit| unit.name == name)
    }
}
