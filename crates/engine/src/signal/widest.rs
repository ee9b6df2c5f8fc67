//! Plain loops as wide as the processor's vectors, chosen at run time: the baseline has room for two doubles, most have four or
//! eight. Rounding does not depend on what was chosen, since nothing is added up in another order and nothing is fused.

/// Runs a call of an `#[inline(always)]` function in the widest instruction set there is.
macro_rules! widest {
    ($call:expr) => {
        fearless_simd::dispatch!(fearless_simd::Level::new(), _simd => $call)
    };
}

pub(crate) use widest;

/// Values that are taken side by side: eight doubles are one or two vectors on every processor.
const LANES: usize = 8;

/// Every eighth value by itself, the rest by itself, then all of these together.
#[inline(always)]
fn in_lanes(
    values: &[f64],
    begin: f64,
    take: impl Fn(f64, f64) -> f64,
    join: impl Fn(f64, f64) -> f64,
) -> f64 {
    let mut lanes = [begin; LANES];
    let (blocks, rest) = values.as_chunks::<LANES>();
    for block in blocks {
        for lane in 0..LANES {
            lanes[lane] = take(lanes[lane], block[lane]);
        }
    }
    let rest = rest
        .iter()
        .fold(begin, |so_far, value| take(so_far, *value));
    join(lanes.into_iter().fold(begin, &join), rest)
}

/// The sum of `values`. For use in [`widest!`], as the others here.
#[inline(always)]
pub(crate) fn total(values: &[f64]) -> f64 {
    let add = |sum, value| sum + value;
    in_lanes(values, 0.0, add, add)
}

/// The sum of their squares.
#[inline(always)]
pub(crate) fn squares(values: &[f64]) -> f64 {
    in_lanes(values, 0.0, |sum, value| sum + value * value, |a, b| a + b)
}

/// The largest magnitude, 0 of none; what is no number changes nothing.
#[inline(always)]
pub(crate) fn largest(values: &[f64]) -> f64 {
    // not `max`, which asks for what is no number
    let larger = |most: f64, value: f64| if value > most { value } else { most };
    in_lanes(values, 0.0, |most, value| larger(most, value.abs()), larger)
}

/// The smallest magnitude, infinite of none; what is no number changes nothing.
#[inline(always)]
pub(crate) fn smallest(values: &[f64]) -> f64 {
    let smaller = |least: f64, value: f64| if value < least { value } else { least };
    let take = |least, value: f64| smaller(least, value.abs());
    in_lanes(values, f64::INFINITY, take, smaller)
}
