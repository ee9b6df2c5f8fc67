//! Powers and coherence of both channels, window by window, in; the follower's level against the lead's and its sigma out.
//!
//! Noise on either side lifts that side's power: with `Sxy` the cross-spectrum and `Sxx`, `Syy` the powers of lead and
//! follower, `|Sxy|/Sxx` is the ratio of amplitudes or less, `Syy/|Sxy|` that or more (Bendat and Piersol, Random Data,
//! chapter 6, from memory). Their geometric mean is `sqrt(Syy/Sxx)`; how far either lies from it is the squared coherence,
//! `-10 log10(c)` dB, and that is the most that noise can have done.

use crate::units::Db;

/// Squared coherence below which a bin tells no level.
const COHERENT: f64 = 0.1;
/// A bin weighs as its signal to noise, no more than this: 40 dB.
const CLEANEST: f64 = 1e4;

/// One bin of one window.
pub struct BinLevel {
    /// Squared coherence, free of bias.
    pub coherence: f64,
    /// The lead's power.
    pub lead: f64,
    /// The follower's power, in the same measure.
    pub follower: f64,
}

/// The levels of the windows so far.
#[derive(Default)]
pub struct Levels {
    windows: Vec<Window>,
}

struct Window {
    level_db: f64,
    /// What noise can have done to it at most.
    noise_db: f64,
    /// Scatter over the bins, were they all there is.
    bins_db: f64,
}

impl Levels {
    /// Takes in the bins of one window; one without a coherent bin is passed over.
    pub fn add(&mut self, bins: &[BinLevel]) {
        let heard: Vec<(f64, f64, f64)> = bins
            .iter()
            .filter(|bin| bin.coherence > COHERENT && bin.lead > 0.0 && bin.follower > 0.0)
            .map(|bin| {
                let coherence = bin.coherence.min(1.0);
                let weight = (coherence / (1.0 - coherence).max(1.0 / CLEANEST)).min(CLEANEST);
                let level_db = 10.0 * (bin.follower / bin.lead).log10();
                (weight, level_db, -10.0 * coherence.log10())
            })
            .collect();
        let weights: f64 = heard.iter().map(|bin| bin.0).sum();
        if weights <= 0.0 {
            return;
        }
        let level_db = heard.iter().map(|bin| bin.0 * bin.1).sum::<f64>() / weights;
        let square = heard
            .iter()
            .map(|bin| bin.0 * (bin.1 - level_db).powi(2))
            .sum::<f64>()
            / weights;
        self.windows.push(Window {
            level_db,
            noise_db: heard.iter().map(|bin| bin.0 * bin.2).sum::<f64>() / weights,
            bins_db: (square / heard.len() as f64).sqrt(),
        });
    }

    /// The mean level and one standard deviation of it: the scatter of the windows about their mean (of the bins when
    /// there is one window), and what noise can have done, taken as evenly likely up to its most.
    pub fn pooled(&self) -> Option<(Db, Db)> {
        let n = self.windows.len() as f64;
        if n == 0.0 {
            return None;
        }
        let mean = |value: fn(&Window) -> f64| self.windows.iter().map(value).sum::<f64>() / n;
        let level_db = mean(|window| window.level_db);
        let scatter_db = match self.windows.as_slice() {
            [only] => only.bins_db,
            many => {
                let square = many
                    .iter()
                    .map(|window| (window.level_db - level_db).powi(2));
                (square.sum::<f64>() / (n - 1.0) / n).sqrt()
            }
        };
        let noise_db = mean(|window| window.noise_db) / 3_f64.sqrt();
        Some((Db(level_db), Db(scatter_db.hypot(noise_db))))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn window(level_db: f64, coherence: f64) -> Vec<BinLevel> {
        (0..100)
            .map(|_| BinLevel {
                coherence,
                lead: 2.0,
                follower: 2.0 * 10_f64.powf(level_db / 10.0),
            })
            .collect()
    }

    #[test]
    fn clean_windows_give_their_mean_and_scatter() {
        let mut levels = Levels::default();
        for level_db in [-0.72, -0.70, -0.68] {
            levels.add(&window(level_db, 1.0));
        }
        let (level, sigma) = levels.pooled().expect("three windows");
        assert!((level.0 + 0.70).abs() < 1e-9, "{level:?}");
        // standard deviation 0.02 over the root of three
        assert!((sigma.0 - 0.02 / 3_f64.sqrt()).abs() < 1e-9, "{sigma:?}");
    }

    #[test]
    fn noise_widens_the_sigma_by_what_it_can_have_done() {
        let mut levels = Levels::default();
        levels.add(&window(-6.0, 0.5));
        let (_, sigma) = levels.pooled().expect("one window");
        // all the noise on one side, as strong as the signal: 3.01 dB, over the root of three
        assert!((sigma.0 - 1.738).abs() < 1e-3, "{sigma:?}");
    }

    #[test]
    fn nothing_coherent_tells_no_level() {
        let mut levels = Levels::default();
        levels.add(&window(0.0, 0.05));
        assert!(levels.pooled().is_none());
    }
}
