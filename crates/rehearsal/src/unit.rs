//! Grid samples of what its inputs carry in, a unit's own samples out: each taken at the exact instant its clock gives.

use rayon::prelude::*;

use crate::clock::{ClockTruth, Stretch};
use crate::field::{Block, Field, GRID_HZ, mic_lead_in};
use crate::kernel::{HALF, Kernel, TAPS, weigh};
use crate::rig::Feed;
use crate::rng;
use crate::shoot::Shoot;
use crate::sound::{Instant, Sound, Tone};

/// Samples taken in one go by one thread.
const RUN: usize = 4096;

/// What one input is wired to.
enum Wire {
    /// A microphone or a signal: grid samples from index `first` on.
    Grid {
        place: Place,
        first: i64,
        samples: Vec<f64>,
    },
    /// Sinusoids, evaluated in closed form.
    Exact { tones: Vec<Tone>, gain: f64 },
    /// Nothing.
    Open,
}

/// Where in a [`Block`] a wire's samples are.
#[derive(Clone, Copy)]
enum Place {
    Mic(usize),
    Signal(usize),
}

struct Input {
    wire: Wire,
    factor: f64,
    /// By how many grid samples its wire is late.
    late: i64,
    noise: Option<Noise>,
}

#[derive(Clone, Copy)]
struct Noise {
    rms: f64,
    key: u64,
}

/// A unit at work.
pub(crate) struct UnitStream {
    clock: ClockTruth,
    inputs: Vec<Input>,
    next: u64,
    length: u64,
    /// How far back in the counter a doubled stretch can reach.
    reach_back: i64,
    /// Grid index before which nothing is needed any more.
    end: i64,
}

/// A grid position: the index before it and how far beyond that it is.
#[derive(Clone, Copy)]
struct GridPos {
    index: i64,
    fraction: f64,
}

/// The moment at which a sample is taken, in the words of the counter, of the grid and of the clock.
#[derive(Clone, Copy)]
struct Moment {
    counter: i64,
    position: GridPos,
    early_s: f64,
}

impl UnitStream {
    /// The unit `index` of `shoot`; `mics` counts the microphones of the units before it and is moved on.
    pub(crate) fn new(shoot: &Shoot, field: &Field, index: usize, mics: &mut usize) -> Self {
        let spec = &shoot.units[index];
        let wire = |feed: &Feed| match feed {
            Feed::Open => Wire::Open,
            Feed::Mic(_) => {
                let first = Field::first_index() - mic_lead_in();
                let place = Place::Mic(*mics);
                *mics += 1;
                Wire::Grid {
                    place,
                    first,
                    samples: Vec::new(),
                }
            }
            Feed::Common(name) => match shoot.signals.iter().position(|s| s.name == *name) {
                None => Wire::Open,
                Some(signal) => match &shoot.signals[signal].sound {
                    Sound::Tones(tones) => Wire::Exact {
                        tones: tones.clone(),
                        gain: field.signal_gain(signal),
                    },
                    _ => Wire::Grid {
                        place: Place::Signal(signal),
                        first: Field::first_index(),
                        samples: Vec::new(),
                    },
                },
            },
        };
        let wires: Vec<Wire> = spec.channels.iter().map(|c| &c.feed).map(wire).collect();
        let inputs = spec.channels.iter().zip(wires).enumerate();
        Self {
            clock: spec.clock(),
            length: spec.length(shoot),
            inputs: inputs
                .map(|(number, (channel, wire))| Input {
                    wire,
                    factor: channel.factor(),
                    late: (channel.late_s * GRID_HZ).round() as i64,
                    noise: channel.noise_dbfs.or(spec.noise_dbfs).map(|dbfs| Noise {
                        rms: 10_f64.powf(dbfs / 20.0),
                        key: rng::key(shoot.seed, &[3, index as u64, number as u64]),
                    }),
                })
                .collect(),
            next: 0,
            reach_back: spec.slips.iter().map(|slip| slip.samples.max(0)).sum(),
            end: Field::first_index(),
        }
    }

    pub(crate) fn is_done(&self) -> bool {
        self.next >= self.length
    }

    /// Takes in the next stretch of every wire, `hop` samples long, and gives the samples that can be taken now: one
    /// plane a channel.
    pub(crate) fn advance(&mut self, block: &Block, hop: usize) -> Vec<Vec<f64>> {
        for input in &mut self.inputs {
            if let Wire::Grid { place, samples, .. } = &mut input.wire {
                samples.extend_from_slice(match *place {
                    Place::Mic(index) => &block.mics[index],
                    Place::Signal(index) => &block.signals[index],
                });
            }
        }
        self.end += hop as i64;
        let last_s = (self.end - mic_lead_in() - HALF as i64 - 4) as f64 / GRID_HZ;
        let last = self.clock.counter_at(last_s).floor() as i64 - 1;
        let until = self
            .clock
            .positions_through(last)
            .min(self.length)
            .max(self.next);
        let planes = self.sample(self.next, (until - self.next) as usize);
        self.next = until;
        self.forget();
        planes
    }

    /// Drops the grid samples that are not needed any more.
    fn forget(&mut self) {
        let counter = self.clock.counter_of(self.next as f64) as i64 - self.reach_back;
        let needed = self.moment(counter, &mut None).position.index - TAPS as i64;
        for input in &mut self.inputs {
            if let Wire::Grid { first, samples, .. } = &mut input.wire {
                let past = usize::try_from(needed - input.late - *first)
                    .unwrap_or(0)
                    .min(samples.len());
                samples.drain(..past);
                *first += past as i64;
            }
        }
    }

    fn sample(&self, from: u64, len: usize) -> Vec<Vec<f64>> {
        let mut planes: Vec<Vec<f64>> = self.inputs.iter().map(|_| vec![0.0; len]).collect();
        let mut runs: Vec<Vec<&mut [f64]>> = Vec::new();
        for plane in &mut planes {
            for (run, part) in plane.chunks_mut(RUN).enumerate() {
                if runs.len() <= run {
                    runs.push(Vec::new());
                }
                runs[run].push(part);
            }
        }
        runs.into_par_iter()
            .enumerate()
            .for_each(|(run, mut parts)| {
                self.sample_run(from + (run * RUN) as u64, &mut parts);
            });
        planes
    }

    fn sample_run(&self, from: u64, parts: &mut [&mut [f64]]) {
        let kernel = Kernel::shared();
        let mut row = [0.0; TAPS];
        let mut near = None;
        let mut noise = vec![None; self.inputs.len()];
        let len = parts.first().map_or(0, |part| part.len());
        for i in 0..len {
            let counter = self.clock.counter_of((from + i as u64) as f64) as i64;
            let moment = self.moment(counter, &mut near);
            kernel.row(moment.position.fraction, &mut row);
            let inputs = self.inputs.iter().zip(&mut noise);
            for (part, (input, noise)) in parts.iter_mut().zip(inputs) {
                part[i] = self.clean(input, moment, &row) * input.factor
                    + input.noise.map_or(0.0, |own| own.at(counter, noise));
            }
        }
    }

    /// What an input's wire carries at a moment.
    fn clean(&self, input: &Input, moment: Moment, row: &[f64; TAPS]) -> f64 {
        match &input.wire {
            Wire::Open => 0.0,
            Wire::Grid { first, samples, .. } => read(
                samples,
                moment.position.index - input.late - first,
                moment.position.fraction,
                row,
            ),
            Wire::Exact { tones, gain } => {
                let late_s = input.late as f64 / GRID_HZ;
                let instant = self.instant(moment.counter, moment.early_s + late_s);
                gain * tones.iter().map(|tone| tone.at(instant)).sum::<f64>()
            }
        }
    }

    /// When the unit takes the sample that its counter calls `counter`; `near` makes neighbours quick.
    fn moment(&self, counter: i64, near: &mut Option<Stretch>) -> Moment {
        let early_s = self.clock.early_near(counter, near);
        let rate = i128::from(self.clock.rate_hz);
        let scaled = i128::from(counter) * GRID_HZ as i128;
        let whole_s = self.clock.starts_s.floor();
        let rest = (scaled.rem_euclid(rate)) as f64 / rate as f64
            + (self.clock.starts_s - whole_s) * GRID_HZ
            - early_s * GRID_HZ;
        let below = rest.floor();
        let index = scaled.div_euclid(rate) as i64 + (whole_s * GRID_HZ) as i64 + below as i64;
        Moment {
            counter,
            position: GridPos {
                index,
                fraction: rest - below,
            },
            early_s,
        }
    }

    fn instant(&self, counter: i64, early_s: f64) -> Instant {
        let rate = i64::from(self.clock.rate_hz);
        let start_s = self.clock.starts_s.floor();
        Instant {
            whole_s: counter.div_euclid(rate) as f64 + start_s,
            rest_s: counter.rem_euclid(rate) as f64 / rate as f64 + (self.clock.starts_s - start_s)
                - early_s,
        }
    }
}

/// The value `fraction` after sample `index`.
fn read(samples: &[f64], index: i64, fraction: f64, row: &[f64; TAPS]) -> f64 {
    let Ok(index) = usize::try_from(index) else {
        return 0.0;
    };
    if fraction == 0.0 {
        return samples.get(index).copied().unwrap_or(0.0);
    }
    let near = index
        .checked_sub(HALF - 1)
        .and_then(|first| samples.get(first..first + TAPS));
    near.map_or(0.0, |near| weigh(row, near))
}

impl Noise {
    /// This input's own noise in the sample that the counter calls `counter`; `last` keeps the pair it belongs to.
    fn at(&self, counter: i64, last: &mut Option<(i64, [f64; 2])>) -> f64 {
        let pair = counter.div_euclid(2);
        let values = match *last {
            Some((kept, values)) if kept == pair => values,
            _ => rng::gaussian_pair(self.key, pair as u64),
        };
        *last = Some((pair, values));
        self.rms * values[counter.rem_euclid(2) as usize]
    }
}
