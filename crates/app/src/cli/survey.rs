//! `survey`: cards in; units, takes, settings side by side and oddities out.

use anyhow::Result;
use comfy_table::Table;
use engine::take::{Survey, scan, settings_table};

use super::args::SurveyArgs;
use super::exit::Ended;
use super::say;
use super::watch::Watch;

/// Shows what is on the cards.
pub fn run(args: &SurveyArgs, json: bool) -> Result<Ended> {
    let watch = Watch::new();
    let mut findings = Vec::new();
    let survey = scan(&args.cards, &watch)?.drain_into(&mut findings);
    let settings = settings_table(&survey).drain_into(&mut findings);
    watch.finish();
    say::findings(&findings);
    if json {
        say::json(&serde_json::json!({
            "units": survey.units, "settings": settings, "findings": findings,
        }))?;
        return Ok(Ended::by_findings(&findings));
    }
    say::line(takes_table(&survey).to_string());
    if survey.units.len() > 1 {
        let mut table = say::plain_table();
        let names = survey.units.iter().map(|unit| unit.name.clone());
        table.set_header(
            ["settings".to_string()]
                .into_iter()
                .chain(names)
                .chain([String::new()]),
        );
        for row in &settings {
            let equal = row.values.windows(2).all(|pair| pair[0] == pair[1]);
            let word = match (row.differs, equal) {
                (true, false) => "differs",
                (true, true) => "see below",
                (false, _) => "",
            };
            table.add_row(
                [row.name.clone()]
                    .into_iter()
                    .chain(row.values.iter().cloned())
                    .chain([word.to_string()]),
            );
        }
        say::line(String::new());
        say::line(table.to_string());
        for row in settings.iter().filter(|row| row.differs) {
            say::line(format!("  {}: {}", row.name, row.consequence));
        }
    }
    Ok(Ended::by_findings(&findings))
}

fn takes_table(survey: &Survey) -> Table {
    let mut table = say::plain_table();
    table.set_header([
        "unit", "take", "start", "length", "channels", "rate", "samples", "names",
    ]);
    for take in survey.units.iter().flat_map(|unit| &unit.takes) {
        let seconds = take.seconds();
        let start = match (take.label(), take.stamp_seconds()) {
            (label, _) if !label.is_empty() => label,
            (_, Some(seconds)) => clock(seconds),
            _ => "no stamp".into(),
        };
        let names: Vec<&str> = take
            .channels
            .iter()
            .map(|name| if name.is_empty() { "-" } else { name })
            .collect();
        table.add_row([
            take.unit.clone(),
            take.name.clone(),
            start,
            clock(seconds),
            take.channels.len().to_string(),
            take.rate.to_string(),
            take.encoding(),
            names.join(", "),
        ]);
    }
    table
}

/// `hh:mm:ss.mmm`, rounded to the millisecond before it is divided up.
fn clock(seconds: f64) -> String {
    let ms = (seconds * 1000.0).round() as u64;
    format!(
        "{:02}:{:02}:{:02}.{:03}",
        ms / 3_600_000,
        ms / 60_000 % 60,
        ms / 1000 % 60,
        ms % 1000
    )
}

#[cfg(test)]
mod tests {
    use super::clock;

    #[test]
    fn a_minute_less_a_sample_is_a_minute_to_the_millisecond() {
        assert_eq!(clock(2_879_999.0 / 48_000.0), "00:01:00.000");
        assert_eq!(clock(3_661.5), "01:01:01.500");
    }
}
