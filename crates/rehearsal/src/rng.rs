//! A seed in, repeatable random numbers out: SplitMix64 (Steele, Lea and Flood, "Fast splittable pseudorandom number
//! generators", OOPSLA 2014), as a sequence and as a table that can be entered anywhere.

/// A sequence of random numbers that depends on nothing but its key.
#[derive(Debug, Clone)]
pub(crate) struct Rng {
    state: u64,
}

const GOLDEN: u64 = 0x9e37_79b9_7f4a_7c15;

/// The finaliser of SplitMix64: one word in, one thoroughly mixed word out.
fn mix(word: u64) -> u64 {
    let word = (word ^ (word >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
    let word = (word ^ (word >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
    word ^ (word >> 31)
}

/// One key from a shoot's seed and the numbers that tell this use of it from every other.
pub(crate) fn key(seed: u64, parts: &[u64]) -> u64 {
    parts
        .iter()
        .fold(mix(seed.wrapping_add(GOLDEN)), |key, &part| {
            mix(key.wrapping_add(GOLDEN) ^ mix(part.wrapping_add(GOLDEN)))
        })
}

/// The top 53 bits as a number from 0 to just below 1.
fn unit(word: u64) -> f64 {
    (word >> 11) as f64 / (1_u64 << 53) as f64
}

impl Rng {
    pub(crate) fn new(key: u64) -> Self {
        Self { state: key }
    }

    fn next_word(&mut self) -> u64 {
        self.state = self.state.wrapping_add(GOLDEN);
        mix(self.state)
    }

    /// Uniform, from 0 to just below 1.
    pub(crate) fn unit(&mut self) -> f64 {
        unit(self.next_word())
    }

    /// Uniform, from `low` to `high`.
    pub(crate) fn range(&mut self, low: f64, high: f64) -> f64 {
        low + (high - low) * self.unit()
    }

    /// One of `choices`; the default value when there are none.
    pub(crate) fn pick<T: Copy + Default>(&mut self, choices: &[T]) -> T {
        let index = (self.unit() * choices.len() as f64) as usize;
        choices.get(index).copied().unwrap_or_default()
    }

    /// Normal, mean 0, variance 1.
    pub(crate) fn gaussian(&mut self) -> f64 {
        gaussian_pair(self.next_word(), 0)[0]
    }
}

/// The two normal numbers (mean 0, variance 1) at places `2 * index` and `2 * index + 1` of the endless table `key`
/// (Box and Muller, 1958).
pub(crate) fn gaussian_pair(key: u64, index: u64) -> [f64; 2] {
    let base = key.wrapping_add(index.wrapping_mul(2).wrapping_mul(GOLDEN));
    let radius = (-2.0 * (1.0 - unit(mix(base.wrapping_add(GOLDEN)))).ln()).sqrt();
    let angle = std::f64::consts::TAU * unit(mix(base.wrapping_add(GOLDEN.wrapping_mul(2))));
    let (sin, cos) = angle.sin_cos();
    [radius * cos, radius * sin]
}

#[cfg(test)]
mod tests {
    use super::*;

    /// First outputs for seed 0, from the published reference implementation of the generator (from memory; the same
    /// values stand in many test suites).
    #[test]
    fn splitmix_gives_its_published_sequence() {
        let mut rng = Rng::new(0);
        assert_eq!(rng.next_word(), 0xe220_a839_7b1d_cdaf);
        assert_eq!(rng.next_word(), 0x6e78_9e6a_a1b9_65f4);
        assert_eq!(rng.next_word(), 0x06c4_5d18_8009_454f);
    }

    #[test]
    fn table_is_normal_and_white() {
        let table: Vec<f64> = (0..100_000).flat_map(|i| gaussian_pair(77, i)).collect();
        let count = table.len() as f64;
        let moment = |power: i32| table.iter().map(|x| x.powi(power)).sum::<f64>() / count;
        assert!(moment(1).abs() < 4.0 / count.sqrt());
        assert!((moment(2) - 1.0).abs() < 4.0 * (2.0 / count).sqrt());
        assert!((moment(4) - 3.0).abs() < 4.0 * (96.0 / count).sqrt());
        let neighbours = table.windows(2).map(|w| w[0] * w[1]).sum::<f64>() / count;
        assert!(neighbours.abs() < 4.0 / count.sqrt());
    }
}
