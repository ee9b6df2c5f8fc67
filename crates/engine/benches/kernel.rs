//! How many channel samples a second one core interpolates, by channels and kernel: `cargo bench --bench kernel`.

use divan::counter::ItemsCount;
use engine::signal::{Kernel, KernelSpec};

const LENGTH: usize = 32_768;

fn main() {
    divan::main();
}

#[divan::bench(args = [1, 2, 6, 8, 12, 32])]
fn render(bencher: divan::Bencher<'_, '_>, channels: usize) {
    interpolate(bencher, KernelSpec::rendering(48_000.0, 48_000.0), channels);
}

#[divan::bench(args = [1, 6])]
fn measure(bencher: divan::Bencher<'_, '_>, channels: usize) {
    interpolate(bencher, KernelSpec::MEASURE, channels);
}

fn interpolate(bencher: divan::Bencher<'_, '_>, spec: KernelSpec, channels: usize) {
    let kernel = Kernel::new(spec);
    let plane: Vec<f64> = (0..LENGTH + 300).map(|i| (i as f64 * 0.37).sin()).collect();
    let planes = vec![plane.as_slice(); channels];
    let places: Vec<(usize, f64)> = (0..LENGTH)
        .map(|i| (i + 100, (i as f64 * 12e-6).fract()))
        .collect();
    let mut out = vec![vec![0.0; LENGTH]; channels];
    bencher
        .counter(ItemsCount::new(LENGTH * channels))
        .bench_local(|| {
            let mut out: Vec<&mut [f64]> = out.iter_mut().map(Vec::as_mut_slice).collect();
            kernel.resample_at(&planes, &places, &mut out);
        });
}
