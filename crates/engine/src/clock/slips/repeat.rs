//! A stretch of a file in, the place where it repeats itself bit for bit out: samples written twice tell themselves apart
//! from samples that the other unit lost.

use crate::error::Result;
use crate::signal::Sound;

/// Samples that may repeat by chance at the end of a doubled stretch.
const BY_CHANCE: usize = 8;
/// Longest stretch that is looked at, samples.
const LONGEST: i64 = 1 << 24;

/// The position between `from` and `to` from which `many` samples on are the same on every channel as the `many` before
/// them. `None` when there is none, or when there are several: a file of few different values repeats by chance.
///
/// # Errors
/// When the file cannot be read.
pub fn doubled(sound: &dyn Sound, many: u64, from: i64, to: i64) -> Result<Option<u64>> {
    let Ok(many) = i64::try_from(many) else {
        return Ok(None);
    };
    let from = from.max(many);
    let to = to.min(sound.length().0 as i64 - many);
    if many < 1 || from > to || to - from > LONGEST || many > LONGEST {
        return Ok(None);
    }
    let length = (to - from + many) as usize;
    let mut same = vec![true; length];
    for channel in 0..sound.channels() {
        let mut later = vec![0.0; length];
        let mut earlier = vec![0.0; length];
        sound.read(&[channel], from, &mut [&mut later])?;
        sound.read(&[channel], from - many, &mut [&mut earlier])?;
        for (same, (a, b)) in same.iter_mut().zip(later.iter().zip(&earlier)) {
            *same &= a == b;
        }
    }
    let many = many as usize;
    let mut found = None;
    let mut run = 0;
    for (i, same) in same.iter().chain([&false]).enumerate() {
        if *same {
            run += 1;
            continue;
        }
        if run >= many {
            if found.is_some() || run > many + BY_CHANCE {
                return Ok(None);
            }
            found = Some((from + (i - run) as i64) as u64);
        }
        run = 0;
    }
    Ok(found)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::signal::MemorySound;
    use crate::units::SampleRate;

    fn noise(seed: u64) -> Vec<f64> {
        let mut state = seed;
        (0..5000)
            .map(|_| {
                state = state
                    .wrapping_mul(6_364_136_223_846_793_005)
                    .wrapping_add(1);
                (state >> 40) as f64
            })
            .collect()
    }

    fn doubled_at(planes: &[Vec<f64>], at: usize, many: usize) -> MemorySound {
        let planes = planes.iter().map(|plane| {
            let mut plane = plane.clone();
            let again = plane[at - many..at].to_vec();
            plane.splice(at..at, again);
            plane
        });
        MemorySound::new(SampleRate(48_000), planes.collect())
    }

    #[test]
    fn a_doubled_stretch_is_found_to_the_sample() {
        for many in [1, 8, 441] {
            let sound = doubled_at(&[noise(1), noise(2)], 2000, many);
            let found = doubled(&sound, many as u64, 0, 4000).expect("memory");
            assert_eq!(found, Some(2000), "{many}");
            let other = doubled(&sound, many as u64 + 1, 0, 4000).expect("memory");
            assert_eq!(other, None, "{many}");
        }
    }

    #[test]
    fn what_repeats_on_one_channel_only_or_everywhere_is_not_doubled() {
        let silence = vec![0.0; 5000];
        let sound = doubled_at(&[silence.clone(), silence], 2000, 8);
        assert_eq!(doubled(&sound, 8, 0, 4000).expect("memory"), None);
        let mut apart = noise(1);
        let again = apart[1992..2000].to_vec();
        apart.splice(2000..2000, again);
        let sound = MemorySound::new(
            SampleRate(48_000),
            vec![apart, {
                let mut other = noise(2);
                other.extend([0.0; 8]);
                other
            }],
        );
        assert_eq!(doubled(&sound, 8, 0, 4000).expect("memory"), None);
    }
}
