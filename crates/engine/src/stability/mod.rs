//! What a long test measured of clocks in; how fast they run, how much they wander, and how long they hold out after a jam.
//! The method, its sources and how well intervals and forecasts hold: docs/decisions/stability.md.

mod deviations;
mod quantile;
mod noise;
mod series;
mod model;
mod line;
mod forecast;
mod judge;
mod temperature;
mod text;
mod measured;
mod told;
mod words;
mod page;
#[cfg(test)]
mod tests;

pub use deviations::{allan, modified_allan, overlapping_allan, time_deviation};
pub use forecast::{Expected, FAR, Forecast, Outlook, Rate, Until};
pub use judge::{Judged, Row};
pub use line::{Ageing, Line};
pub use measured::{Found, Series, measure_clocks};
pub use model::{Model, Parts, Seen, Weighted};
pub use noise::{Interval, Kind, Noise, degrees_of_freedom, noise_of};
pub use series::{LEAST_POINTS, Phase, Spaced};
pub use temperature::{Reading, Slope, Temperature};
pub use text::{phases_of, temperatures_of};
pub use told::{ClockTest, Request, Stability, stability};
pub use words::{MODEL, UNKNOWN};
