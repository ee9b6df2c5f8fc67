//! What a test tells of clocks in, lines for a person out; a line a fact.

use super::forecast::{FAR, Until};
use super::judge::Row;
use super::temperature::Temperature;
use super::told::ClockTest;
use crate::report::{length_of_time, short_time, three_figures};
use crate::units::{decimals_of, signed};

/// What no single test knows.
pub const UNKNOWN: &str = "One test cannot know other temperatures, other days, shocks or other batteries: repeat it where it will \
     be used, and keep the results with --history.";

/// How forecasts were made.
pub const MODEL: &str = "A forecast holds with 95 % confidence. It adds up how well the mean rate is known \
     and how the measured noise makes the clock wander on; an ageing of the rate counts where it is beyond doubt.";

impl ClockTest {
    /// Everything in lines.
    #[must_use]
    pub fn lines(&self) -> Vec<String> {
        let date = match self.date.as_str() {
            "" => String::new(),
            date => format!("; {date}"),
        };
        let mut lines = vec![
            format!(
                "{} against {}: {}{date}",
                self.unit, self.against, self.rests_on
            ),
            format!("  {}", self.rate_words()),
            format!("  {}", self.length_words()),
        ];
        lines.extend(
            self.other_words()
                .into_iter()
                .map(|line| format!("  {line}")),
        );
        lines.push("  Allan deviation with its 95 % interval, ppm:".into());
        lines.push(format!(
            "  {:>12} {:>9} {:>9} {:>9} {:>9} {:>10}  {}",
            "averaged for", "overlap.", "from", "to", "modified", "time", "ruled by"
        ));
        lines.extend(self.judged.rows.iter().map(row_line));
        lines.push("  After a jam the timecode stays within:".into());
        for forecast in &self.judged.forecasts {
            lines.push(format!(
                "    {} ({}): {}; with the mean rate taken out {}",
                forecast.limit,
                short_time(forecast.limit_s),
                forecast.as_it_is.words(),
                forecast.rate_taken_out.words()
            ));
        }
        lines
    }

    /// The rate in a sentence.
    #[must_use]
    pub fn rate_words(&self) -> String {
        let judged = &self.judged;
        let decimals = decimals_of(judged.rate_sigma_ppm);
        let an_hour = short_time(judged.rate_ppm.abs() * 1e-6 * 3600.0);
        let way = if judged.rate_ppm < 0.0 {
            "loses"
        } else {
            "gains"
        };
        format!(
            "mean rate of what was judged {} ppm, one sigma {:.*} ppm: it {way} {an_hour} an hour; wander {} ppm at most",
            signed(judged.rate_ppm, decimals),
            usize::from(decimals),
            judged.rate_sigma_ppm.max(1e-6),
            three_figures(judged.wander_ppm)
        )
    }

    /// What was judged in a sentence.
    #[must_use]
    pub fn length_words(&self) -> String {
        let judged = &self.judged;
        let noise = match self.phase_sigma_s {
            Some(sigma) => format!(
                "; single phases are known to {} (one sigma)",
                short_time(sigma)
            ),
            None => String::new(),
        };
        format!(
            "{} judged of {}, {} phases {} apart{noise}",
            length_of_time(judged.seconds),
            length_of_time(self.whole_s),
            self.phases.len(),
            short_time(judged.interval_s)
        )
    }

    /// What else there is to say, in sentences.
    #[must_use]
    pub fn other_words(&self) -> Vec<String> {
        let mut words = Vec::new();
        let mut measuring = self.judged.rows.iter().filter(|row| row.is_measuring);
        if let Some(last) = measuring.next_back() {
            words.push(format!(
                "up to {} the deviations tell of the noise of measuring, not of the clock",
                length_of_time(last.averaging_s)
            ));
        }
        if let Some(ageing) = self.judged.ageing {
            words.push(format!(
                "the rate changes steadily, by {} ppm a day, one sigma {} (taken out of the deviations)",
                three_figures(ageing.ppm_per_day),
                three_figures(ageing.sigma_ppm_per_day)
            ));
        }
        words.extend(self.temperature.as_ref().map(Temperature::words));
        words
    }
}

impl Temperature {
    /// In a sentence.
    #[must_use]
    pub fn words(&self) -> String {
        let range = match self.range_c {
            Some([low, high]) => format!(
                "{low:.1} to {high:.1} °C over {:.0} % of the test",
                100.0 * self.covered
            ),
            None => "no temperatures".into(),
        };
        match self.slope {
            Some(slope) => format!(
                "temperature: {} ppm a degree, ±{} (95 %); {range}",
                three_figures(slope.ppm_per_c),
                three_figures(slope.within_ppm_per_c)
            ),
            None => format!("temperature: {}; {range}", self.why_not),
        }
    }
}

impl Until {
    /// In words.
    #[must_use]
    pub fn words(self) -> String {
        match self {
            Self::Seconds(seconds) if seconds < 1.0 => "for less than a second".into(),
            Self::Seconds(seconds) => format!("for {}", length_of_time(seconds)),
            Self::LongerThan(seconds) => format!(
                "for longer than the test can tell (over {}, {FAR:.0} times its length)",
                length_of_time(seconds)
            ),
        }
    }
}

fn row_line(row: &Row) -> String {
    let ppm = |value: f64| three_figures(1e6 * value);
    format!(
        "  {:>12} {:>9} {:>9} {:>9} {:>9} {:>10}  {}{}",
        length_of_time(row.averaging_s),
        ppm(row.allan.value),
        ppm(row.allan.low),
        ppm(row.allan.high),
        row.modified.map_or_else(String::new, |m| ppm(m.value)),
        row.time_s.map_or_else(String::new, |t| short_time(t.value)),
        row.noise.words(),
        if row.is_measuring { " (measuring)" } else { "" }
    )
}
