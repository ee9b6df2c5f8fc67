//! What the rendering kernel does to a tone, by frequency and rates: gain, and everything that is not the tone, in dB:
//! `cargo bench --bench kernel_curve`. The table in docs/decisions/rendering.md is its output.

#![expect(clippy::print_stdout, reason = "a table for whoever asked for it")]

use std::f64::consts::TAU;

use engine::signal::{Kernel, KernelSpec};

fn main() {
    let rates = [
        (44_100.0, 44_100.0),
        (48_000.0, 48_000.0),
        (96_000.0, 96_000.0),
        (44_100.0, 48_000.0),
        (96_000.0, 48_000.0),
    ];
    println!("| from, to Hz | taps | Hz | gain, dB | error, dB |\n|---|---|---|---|---|");
    for (own, lead) in rates {
        let spec = KernelSpec::rendering(own, lead);
        let kernel = Kernel::new(spec);
        for hz in [
            100.0, 1000.0, 10_000.0, 18_000.0, 20_000.0, 21_000.0, 22_000.0, 23_000.0,
        ] {
            if hz < own / 2.0 {
                let (gain, error) = response(&kernel, own, lead, hz);
                println!(
                    "| {own:.0}, {lead:.0} | {} | {hz:.0} | {gain:+.5} | {error:.0} |",
                    kernel.taps()
                );
            }
        }
    }
}

/// Gain of a tone and, relative to it, everything else, dB.
fn response(kernel: &Kernel, own: f64, lead: f64, hz: f64) -> (f64, f64) {
    let phase = |position: f64| TAU * hz / own * position;
    let plane: Vec<f64> = (0..50_000).map(|k| phase(f64::from(k)).sin()).collect();
    // 23 ppm off, so that every fraction is met
    let step = own / lead * (1.0 + 23e-6);
    let positions: Vec<f64> = (0..20_000).map(|n| 1000.0 + f64::from(n) * step).collect();
    let mut out = vec![0.0; positions.len()];
    kernel.resample(&[&plane], &positions, &mut [&mut out]);
    // amplitude of sine and cosine by least squares
    let (mut ss, mut sc, mut cc, mut ys, mut yc) = (0.0, 0.0, 0.0, 0.0, 0.0);
    for (position, value) in positions.iter().zip(&out) {
        let (s, c) = phase(*position).sin_cos();
        ss += s * s;
        sc += s * c;
        cc += c * c;
        ys += value * s;
        yc += value * c;
    }
    let det = ss * cc - sc * sc;
    let (a, b) = ((ys * cc - yc * sc) / det, (yc * ss - ys * sc) / det);
    let rest: f64 = positions
        .iter()
        .zip(&out)
        .map(|(position, value)| {
            let (s, c) = phase(*position).sin_cos();
            (value - a * s - b * c).powi(2)
        })
        .sum();
    let tone = a.hypot(b);
    let error = (rest / out.len() as f64).sqrt() / (tone / 2.0_f64.sqrt());
    (20.0 * tone.log10(), 20.0 * error.log10())
}
