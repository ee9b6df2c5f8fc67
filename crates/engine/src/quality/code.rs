//! One channel in, whether it carries timecode as sound out: two seconds of every half minute are listened to.

use serde::{Deserialize, Serialize};
use timecode::ltc::Decoder;

/// How much is listened to, and how often. Most timecode runs through a take or not at all.
const HEARD_S: u64 = 2;
const EVERY_S: u64 = 30;

/// Timecode on a channel.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Code {
    /// The first label that was read, `hh:mm:ss:ff`.
    pub label: String,
    /// How labels are counted, e.g. `25/1 NDF` or `30000/1001 DF`.
    pub counting: String,
    /// How many stretches of two seconds were listened to.
    pub heard: u32,
    /// How many of them carry code.
    pub carrying: u32,
}

/// Gathers [`Code`].
pub(super) struct CodeMeter {
    rate: u32,
    at: u64,
    decoder: Option<Decoder>,
    heard: u32,
    carrying: u32,
    first: Option<(String, String)>,
}

impl CodeMeter {
    pub(super) fn new(rate: u32) -> Self {
        Self {
            rate,
            at: 0,
            decoder: None,
            heard: 0,
            carrying: 0,
            first: None,
        }
    }

    pub(super) fn add(&mut self, mut samples: &[f64]) {
        let rate = u64::from(self.rate.max(1));
        let (heard, every) = (HEARD_S * rate, EVERY_S * rate);
        while !samples.is_empty() {
            let phase = self.at % every;
            let listening = phase < heard;
            let end = if listening { heard } else { every };
            let count =
                usize::try_from(end - phase).map_or(samples.len(), |left| left.min(samples.len()));
            let (now, later) = samples.split_at(count);
            if listening {
                let decoder = self.decoder.get_or_insert_with(|| Decoder::new(self.rate));
                let now: Vec<f32> = now.iter().map(|value| *value as f32).collect();
                decoder.push(&now);
            }
            self.at += count as u64;
            samples = later;
            if listening && self.at % every == heard {
                self.end();
            }
        }
    }

    fn end(&mut self) {
        let Some(decoder) = self.decoder.take() else {
            return;
        };
        self.heard += 1;
        let Some(reading) = decoder.finish() else {
            return;
        };
        self.carrying += 1;
        if self.first.is_none() {
            let label = reading.words().next().map(|word| word.label.to_string());
            self.first = Some((label.unwrap_or_default(), reading.counting.to_string()));
        }
    }

    pub(super) fn finish(mut self) -> Option<Code> {
        // of a last stretch that breaks off only what is long enough to tell counts
        let rate = u64::from(self.rate.max(1));
        if self.at % (EVERY_S * rate) >= rate || self.heard == 0 {
            self.end();
        }
        let (label, counting) = self.first?;
        Some(Code {
            label,
            counting,
            heard: self.heard,
            carrying: self.carrying,
        })
    }
}
