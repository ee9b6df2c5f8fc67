//! A plan in, what stands in a file's metadata out, field by field, with the rule by which it says so and what other units
//! said: for the report.

use super::super::Field;
use super::super::plan::{Plan, PlannedFile};
use super::markers::Marked;
use super::merged::MERGED;
use super::{carried, lead, left_behind};

/// The fields of a file, in the order in which a reader asks for them.
pub(super) fn of(plan: &Plan<'_>, file: &PlannedFile, marked: &Marked) -> Vec<Field> {
    let mut fields = Vec::new();
    let mut add = |name, value: String, rule: String| fields.push(Field { name, value, rule });
    let unit = &lead(plan).member.unit;
    let (value, rule) = stamp(plan, file);
    add("start stamp", value, rule);
    if let Some(bext) = &file.spec.bext {
        add(
            "date and time",
            format!("{} {}", bext.date, bext.time).trim().to_string(),
            format!("{unit}'s, moved by whole seconds to the file's first sample"),
        );
    }
    for merged in &MERGED {
        let said = merged.by_unit(plan);
        let Some((from, value)) = said.first() else {
            continue;
        };
        let others: Vec<String> = said[1..]
            .iter()
            .filter(|(_, other)| other != value)
            .map(|(unit, other)| format!("{unit} says {other}"))
            .collect();
        let rule = match (from == unit, others.is_empty()) {
            (true, true) => format!("{unit}'s: the lead's word counts"),
            (true, false) => format!("{unit}'s: the lead's word counts; {}", others.join(", ")),
            (false, true) => format!("{from}'s: the lead says nothing"),
            (false, false) => format!("{from}'s: the lead says nothing; {}", others.join(", ")),
        };
        add(merged.name, value.clone(), rule);
    }
    let names: Vec<&str> = file
        .channels
        .iter()
        .map(|&index| plan.channels[index].name.as_str())
        .collect();
    add(
        "track list",
        names.join(", "),
        "each unit's own names, bound to channels by their interleave index; the unit in front where two are the same".into(),
    );
    add(
        "speakers",
        "none".into(),
        "channels are single microphones, so no speaker positions are claimed; the plain format tag is used".into(),
    );
    let late = match marked.too_late {
        0 => String::new(),
        late => format!("; {late} lie beyond what 32 bits can count and are left out"),
    };
    add(
        "markers",
        match (marked.theirs, marked.ours) {
            (0, 0) => "none".into(),
            (theirs, ours) => format!("{theirs} of the units, {ours} for gaps and slips"),
        },
        format!("moved to the lead's clock, the unit's name in front{late}"),
    );
    let kept: Vec<String> = carried(plan).map(|chunk| chunk.id.to_string()).collect();
    let left: Vec<String> = plan
        .sources
        .iter()
        .enumerate()
        .filter_map(|(index, source)| {
            let names = left_behind(&source.files.first()?.1, index == 0);
            (!names.is_empty()).then(|| format!("{} of {}", names.join(", "), source.member.unit))
        })
        .collect();
    add(
        "other chunks",
        match kept.is_empty() {
            true => "none".into(),
            false => kept.join(", "),
        },
        match (kept.is_empty(), left.is_empty()) {
            (true, true) => format!("{unit}'s file has none"),
            (false, true) => format!("{unit}'s, byte for byte"),
            (true, false) => format!("in the sources alone stay {}", left.join("; ")),
            (false, false) => format!(
                "{unit}'s, byte for byte; in the sources alone stay {}",
                left.join("; ")
            ),
        },
    );
    add(
        "coding history",
        format!(
            "{} source files, what was done to each unit",
            source_files(plan)
        ),
        format!("{unit}'s own lines first, the newest last"),
    );
    fields
}

fn source_files(plan: &Plan<'_>) -> usize {
    plan.sources.iter().map(|source| source.files.len()).sum()
}

/// The stamp and what contradicts it in the lead's own file. Precedence: the broadcast extension before iXML.
fn stamp(plan: &Plan<'_>, file: &PlannedFile) -> (String, String) {
    let unit = &lead(plan).member.unit;
    let Some(stamp) = file.stamp else {
        return (
            "none".into(),
            format!("{unit} wrote no stamp; the field says 0"),
        );
    };
    let header = &lead(plan).files[0].1;
    let written = header.bext.as_ref().map(|bext| bext.time_reference);
    let other = header
        .ixml
        .as_ref()
        .and_then(|ixml| ixml.speed.timestamp_samples_since_midnight);
    let against = match (written, other) {
        (Some(written), Some(other)) if written != other => {
            format!("; the broadcast extension counts, its iXML says {other}")
        }
        _ => String::new(),
    };
    (
        format!("{stamp} samples since midnight"),
        format!("{unit}'s, moved to the file's first sample{against}"),
    )
}
