//! A timecode track in, its sound on the grid of true time out: from true time 0 on, silence before it and behind its end.

use super::{Begin, Generator};
use crate::error::{Error, Result};
use crate::timecode_track::TimecodeTrack;

/// The track as it would be recorded on a perfect clock, its peak 1.
pub(crate) fn begin(track: &TimecodeTrack, begin: Begin) -> Result<Box<dyn Generator>> {
    if f64::from(track.sample_rate) != begin.rate_hz {
        return Err(Error::invalid(format!(
            "timecode as a sound is made at {} Hz, not at {}",
            begin.rate_hz, track.sample_rate
        )));
    }
    let (samples, _) = TimecodeTrack {
        level_dbfs: 0.0,
        ..track.clone()
    }
    .record()?;
    Ok(Box::new(Code {
        samples,
        next: begin.first,
    }))
}

struct Code {
    samples: Vec<f32>,
    next: i64,
}

impl Generator for Code {
    fn fill(&mut self, out: &mut [f64]) {
        for out in out {
            let at = usize::try_from(self.next).ok();
            let sample = at.and_then(|at| self.samples.get(at));
            *out = f64::from(sample.copied().unwrap_or(0.0));
            self.next += 1;
        }
    }
}
