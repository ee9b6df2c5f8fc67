//! Positions in any order, each by itself: its row of coefficients, then the sums of all planes with it.

use fearless_simd::f64x8;
use fearless_simd::prelude::*;

use super::{Eight, GROUP, Kernel};

/// Positions whose coefficients are computed together and shared by all planes: 32 rows stay in the cache.
const BLOCK: usize = 32;

/// Planes whose running sums are kept in registers at the same time: twelve of sixteen with vectors of four.
const TOGETHER: usize = 6;

/// Coefficients of a block of positions, kept to be used again.
#[derive(Default)]
pub(super) struct Rows(Vec<Eight>);

impl Kernel {
    /// The values at `places`, to `out` from its slot `from` on.
    #[inline(always)]
    pub(super) fn by_rows<S: Simd>(
        &self,
        simd: S,
        rows: &mut Rows,
        planes: &[&[f64]],
        (places, from): (&[(usize, f64)], usize),
        out: &mut [&mut [f64]],
    ) {
        let groups = self.taps / GROUP;
        for (block, places) in places.chunks(BLOCK).enumerate() {
            rows.0.resize(places.len() * groups, Eight([0.0; GROUP]));
            for (&(_, fraction), row) in places.iter().zip(rows.0.chunks_exact_mut(groups)) {
                self.row(simd, fraction, row);
            }
            let (rows, from) = (&rows.0[..], from + block * BLOCK);
            for (planes, out) in planes.chunks(TOGETHER).zip(out.chunks_mut(TOGETHER)) {
                match planes.len() {
                    1 => self.products::<S, 1>(simd, planes, places, rows, (from, out)),
                    2 => self.products::<S, 2>(simd, planes, places, rows, (from, out)),
                    3 => self.products::<S, 3>(simd, planes, places, rows, (from, out)),
                    4 => self.products::<S, 4>(simd, planes, places, rows, (from, out)),
                    5 => self.products::<S, 5>(simd, planes, places, rows, (from, out)),
                    _ => self.products::<S, TOGETHER>(simd, planes, places, rows, (from, out)),
                }
            }
        }
    }

    /// Writes the coefficients for `fraction` in [0, 1] to `row`. Coefficient `i` belongs to the sample `i - before()` after
    /// the whole one.
    #[inline(always)]
    fn row<S: Simd>(&self, simd: S, fraction: f64, row: &mut [Eight]) {
        let load = |values: &Eight| f64x8::from_slice(simd, &values.0);
        let (phase, within) = self.within(fraction);
        let m = f64x8::splat(simd, within);
        for (c, out) in self.phase(phase as usize).iter().zip(row) {
            let upper = load(&c[2]).mul_add(m, load(&c[1]));
            upper.mul_add(m, load(&c[0])).store_slice(&mut out.0);
        }
    }

    /// The products of `N` planes with the rows of a block: each coefficient is fetched once for all of them. A plane's sum
    /// is taken in one order whatever stands beside it: eight running sums, added up pairwise at the end.
    #[inline(always)]
    fn products<S: Simd, const N: usize>(
        &self,
        simd: S,
        planes: &[&[f64]],
        places: &[(usize, f64)],
        rows: &[Eight],
        (from, out): (usize, &mut [&mut [f64]]),
    ) {
        let groups = self.taps / GROUP;
        for (i, (&(whole, _), row)) in places.iter().zip(rows.chunks_exact(groups)).enumerate() {
            let first = whole - self.before();
            // not by `array::from_fn`, which is not taken into this function
            let mut parts: [&[[f64; GROUP]]; N] = [&[]; N];
            for (part, plane) in parts.iter_mut().zip(planes) {
                *part = &plane[first..][..self.taps].as_chunks().0[..groups];
            }
            let mut sums = [f64x8::splat(simd, 0.0); N];
            for (group, row) in row.iter().enumerate() {
                let row = f64x8::from_slice(simd, &row.0);
                for plane in 0..N {
                    let part = f64x8::from_slice(simd, &parts[plane][group]);
                    sums[plane] = part.mul_add(row, sums[plane]);
                }
            }
            for plane in 0..N {
                let s: [f64; GROUP] = sums[plane].into();
                out[plane][from + i] =
                    ((s[0] + s[4]) + (s[2] + s[6])) + ((s[1] + s[5]) + (s[3] + s[7]));
            }
        }
    }
}
