//! A block of samples in, the words on it out: the band, the length of a cell by its line, then the likeliest sequence.

use std::cell::RefCell;
use std::sync::Arc;

use realfft::num_complex::Complex;
use realfft::{ComplexToReal, RealFftPlanner, RealToComplex};

use super::edges::Heard;
use super::sequence::{Sequence, sums};

/// Cells a second that are looked for: a third of 24 timecode frames a second to twice 30.
const CELLS_HZ: (f64, f64) = (640.0, 4850.0);

/// The band that is listened to, Hz: below, hum; above, nothing that code at these rates needs.
const BAND_HZ: [f64; 4] = [250.0, 450.0, 5500.0, 7500.0];

/// The line must stand so many times above the mean of the lines' squares around it.
const LINE: f32 = 20.0;

/// Words that hold this share of a block leave no doubt of the length of a cell.
const ENOUGH: f64 = 0.8;

thread_local! {
    /// Transforms of the two lengths or so that a thread listens with: planning one takes as long as using it.
    static PLANNER: RefCell<RealFftPlanner<f32>> = RefCell::new(RealFftPlanner::new());
}

/// Listens to blocks of one length.
pub(super) struct Listener {
    /// Samples of a block, a power of two.
    length: usize,
    /// Samples that become one here.
    factor: usize,
    hz: f64,
    forward: Arc<dyn RealToComplex<f32>>,
    back: Arc<dyn ComplexToReal<f32>>,
    again: Arc<dyn RealToComplex<f32>>,
    /// The length of a cell where there last was one, in samples here.
    last_cell: Option<f64>,
}

impl Listener {
    /// For blocks of `length` samples.
    pub(super) fn new(length: usize, sample_rate: u32) -> Self {
        let mut factor = 1;
        while f64::from(sample_rate) / factor as f64 > 64_000.0 {
            factor *= 2;
        }
        PLANNER.with_borrow_mut(|planner| Self {
            length,
            factor,
            hz: f64::from(sample_rate) / factor as f64,
            forward: planner.plan_fft_forward(length),
            back: planner.plan_fft_inverse(length / factor),
            again: planner.plan_fft_forward(length / factor),
            last_cell: None,
        })
    }

    /// The words of a block, positions from its first sample.
    pub(super) fn words(&mut self, block: &[f32]) -> Vec<Heard> {
        let Some(sound) = self.band(block) else {
            return Vec::new();
        };
        let mut cells = self.cells(&sound);
        cells.extend(self.last_cell);
        let sums = sums(&sound);
        let mut best: (f64, Vec<Heard>) = (0.0, Vec::new());
        for cell in cells {
            let words = Sequence::new(&sums, cell).words();
            let held: f64 = words.iter().map(|word| word.length).sum();
            if held > best.0 {
                self.last_cell = Some(cell);
                best = (held, words);
            }
            if best.0 > ENOUGH * sound.len() as f64 {
                break;
            }
        }
        let words = best.1;
        let factor = self.factor as f64;
        words
            .into_iter()
            .map(|word| Heard {
                start: factor * word.start,
                length: factor * word.length,
                ..word
            })
            .collect()
    }

    /// The block within the band, at the lower rate; `None` when there is nothing in it.
    fn band(&self, block: &[f32]) -> Option<Vec<f32>> {
        let mut input = block.to_vec();
        input.resize(self.length, 0.0);
        let mut spectrum = self.forward.make_output_vec();
        self.forward.process(&mut input, &mut spectrum).ok()?;
        let line_hz = self.hz * self.factor as f64 / self.length as f64;
        let mut kept = self.back.make_input_vec();
        let scale = 1.0 / self.length as f32;
        for (line, (to, from)) in kept.iter_mut().zip(&spectrum).enumerate() {
            *to = from * (scale * pass(line as f64 * line_hz));
        }
        if let Some(last) = kept.last_mut() {
            last.im = 0.0;
        }
        let mut sound = self.back.make_output_vec();
        self.back.process(&mut kept, &mut sound).ok()?;
        sound.truncate(block.len() / self.factor);
        sound.iter().any(|x| x.abs() > 0.0).then_some(sound)
    }

    /// Lengths of a cell, in samples, that the lines in the square of the slope tell of; best first.
    fn cells(&self, sound: &[f32]) -> Vec<f64> {
        let length = self.length / self.factor;
        let mut slope = vec![0.0; length];
        for (to, around) in slope.iter_mut().zip(sound.windows(3)) {
            *to = (around[2] - around[0]).powi(2);
        }
        let mut spectrum = self.again.make_output_vec();
        if self.again.process(&mut slope, &mut spectrum).is_err() {
            return Vec::new();
        }
        let line_hz = self.hz / length as f64;
        let lines = |hz: f64| ((hz / line_hz) as usize).clamp(1, spectrum.len() - 2);
        let (low, high) = (lines(CELLS_HZ.0), lines(CELLS_HZ.1));
        let power: Vec<f32> = spectrum.iter().map(Complex::norm_sqr).collect();
        let highest = |from: usize, to: usize| {
            let inside = (from..to).max_by(|a, b| power[*a].total_cmp(&power[*b]))?;
            let around = &power[inside.saturating_sub(400)..(inside + 400).min(power.len())];
            let mean = around.iter().sum::<f32>() / around.len() as f32;
            (power[inside] > LINE * mean).then_some(inside)
        };
        let Some(best) = highest(low, high) else {
            return Vec::new();
        };
        let mut found = vec![best];
        // a second line at twice the rate is there always, and the higher one where ones prevail
        for near in [best / 2, 2 * best] {
            if near > low && near < high {
                found.extend(highest(near - 4, near + 5));
            }
        }
        let between = |line: usize| {
            let [a, b, c] = [-1_isize, 0, 1].map(|by| {
                let power = power[line.saturating_add_signed(by)];
                f64::from(power.max(f32::MIN_POSITIVE)).ln()
            });
            let bend = a - 2.0 * b + c;
            let shift = if bend < 0.0 {
                0.5 * (a - c) / bend
            } else {
                0.0
            };
            self.hz / ((line as f64 + shift) * line_hz)
        };
        found.into_iter().map(between).collect()
    }
}

/// The share of a frequency that passes.
fn pass(hz: f64) -> f32 {
    let [stop, low, high, end] = BAND_HZ;
    let rise = ((hz - stop) / (low - stop)).clamp(0.0, 1.0);
    let fall = ((end - hz) / (end - high)).clamp(0.0, 1.0);
    (rise * fall) as f32
}
