//! What an axis shows in, where its figures stand and what they say out.

use kuva::prelude::TickFormat;

/// What stands along an axis.
#[derive(Debug, Clone, PartialEq)]
pub struct Axis {
    /// The quantity and its unit.
    pub label: String,
    /// The least value shown.
    pub least: f64,
    /// The greatest value shown; greater than the least.
    pub greatest: f64,
    /// How its values are written.
    pub scale: Scale,
}

/// An axis that holds all `values` with a little room, and never has no extent.
pub fn axis_around(values: impl Iterator<Item = f64>, label: &str) -> Axis {
    let (least, greatest) = values.filter(|value| value.is_finite()).fold(
        (f64::INFINITY, f64::NEG_INFINITY),
        |(least, greatest), value| (least.min(value), greatest.max(value)),
    );
    let (least, greatest) = if least <= greatest {
        (least, greatest)
    } else {
        (0.0, 0.0)
    };
    let room = ((greatest - least) * 0.06)
        .max(1e-3)
        .max(greatest.abs() * 1e-9);
    Axis {
        label: label.into(),
        least: least - room,
        greatest: greatest + room,
        scale: Scale::Number,
    }
}

/// How an axis's values are written and stepped.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Scale {
    /// Plain numbers in steps of 1, 2 or 5.
    Number,
    /// Seconds, written `m:ss` or `h:mm:ss`.
    Time,
    /// Logarithms to base ten of Hz, a figure a decade: `100`, `1k`, `10k`.
    Frequency,
    /// Logarithms to base ten of any quantity, a figure a decade: `0.01`, `1`, `100`.
    Decades,
}

/// The distance between an axis's figures.
pub struct Steps {
    /// In what the axis shows.
    pub step: f64,
}

/// The steps of a time axis that people count in, seconds.
const TIME_STEPS: [f64; 18] = [
    1.0, 2.0, 5.0, 10.0, 15.0, 30.0, 60.0, 120.0, 300.0, 600.0, 900.0, 1800.0, 3600.0, 7200.0,
    10_800.0, 21_600.0, 43_200.0, 86_400.0,
];

impl Steps {
    /// A step that gives about `wanted` figures along `axis`.
    pub fn of(axis: &Axis, wanted: f64) -> Self {
        if matches!(axis.scale, Scale::Frequency | Scale::Decades) {
            return Self { step: 1.0 };
        }
        let rough = (axis.greatest - axis.least) / wanted;
        let time = TIME_STEPS.into_iter().find(|step| *step >= rough);
        let step = match (axis.scale, time) {
            (Scale::Time, Some(step)) if rough > 0.5 => step,
            _ => {
                let decade = 10f64.powf(rough.log10().floor());
                let step = [1.0, 2.0, 5.0]
                    .into_iter()
                    .find(|step| step * decade >= rough);
                step.unwrap_or(10.0) * decade
            }
        };
        Self { step }
    }

    /// Where figures stand along an axis of time, and what they say.
    pub fn ticks(&self, axis: &Axis) -> Vec<(f64, String)> {
        let first = (axis.least / self.step).ceil();
        let count = (axis.greatest / self.step + 1e-9).floor() - first;
        let decimals = self.decimals();
        (0..=count.clamp(0.0, 100.0) as usize)
            .map(|number| {
                let at = (first + number as f64) * self.step;
                (at, time_figure(at, decimals))
            })
            .collect()
    }

    fn decimals(&self) -> usize {
        (-self.step.log10().floor()).clamp(0.0, 9.0) as usize
    }

    pub fn format(&self, scale: Scale) -> TickFormat {
        match scale {
            Scale::Number => TickFormat::Fixed(self.decimals()),
            Scale::Frequency => TickFormat::Custom(std::sync::Arc::new(decade_figure)),
            Scale::Decades => TickFormat::Custom(std::sync::Arc::new(plain_decade)),
            Scale::Time => {
                let decimals = self.decimals();
                TickFormat::Custom(std::sync::Arc::new(move |seconds| {
                    time_figure(seconds, decimals)
                }))
            }
        }
    }

    /// How many characters the longest figure along `axis` has.
    pub fn longest(&self, axis: &Axis) -> usize {
        let decimals = self.decimals();
        let written = |value: f64| match axis.scale {
            Scale::Decades => plain_decade(value.ceil()).len(),
            _ => format!("{value:.decimals$}").len(),
        };
        written(axis.least).max(written(axis.greatest))
    }
}

fn decade_figure(logarithm: f64) -> String {
    let hz = 10_f64.powf(logarithm).round();
    match hz >= 1000.0 {
        true => format!("{}k", hz / 1000.0),
        false => format!("{hz}"),
    }
}

fn plain_decade(logarithm: f64) -> String {
    let decimals = (-logarithm).clamp(0.0, 12.0) as usize;
    format!("{:.decimals$}", 10_f64.powf(logarithm))
}

fn time_figure(seconds: f64, decimals: usize) -> String {
    let sign = if seconds < 0.0 { "-" } else { "" };
    let size = seconds.abs();
    let whole = if decimals == 0 {
        size.round()
    } else {
        size.floor()
    };
    let fraction = match decimals {
        0 => String::new(),
        _ => format!("{:.decimals$}", size - whole)[1..].to_string(),
    };
    let whole = whole as u64;
    let (hours, minutes, rest) = (whole / 3600, whole / 60 % 60, whole % 60);
    match hours {
        0 => format!("{sign}{minutes}:{rest:02}{fraction}"),
        _ => format!("{sign}{hours}:{minutes:02}:{rest:02}"),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn decades_are_written_out() {
        assert_eq!([-4.0, 0.0, 3.0].map(plain_decade), ["0.0001", "1", "1000"]);
    }

    #[test]
    fn times_are_written_as_people_write_them() {
        assert_eq!(time_figure(90.0, 0), "1:30");
        assert_eq!(time_figure(3_661.0, 0), "1:01:01");
        assert_eq!(time_figure(0.25, 2), "0:00.25");
    }
}
