//! Plain loops as wide as the processor's vectors, chosen at run time: the baseline has room for two doubles, most have four or
//! eight. Rounding stays what it is, since nothing is added up in another order and nothing is fused.

/// Runs a call of an `#[inline(always)]` function in the widest instruction set there is.
macro_rules! widest {
    ($call:expr) => {
        fearless_simd::dispatch!(fearless_simd::Level::new(), _simd => $call)
    };
}

pub(crate) use widest;
