//! Findings, coverage, settings, channels and provenance in, their parts of the page out.

use super::{counted, facts, weight_shape};
use crate::alignment::{JointTake, Member, Role};
use crate::finding::{Finding, Weight};
use crate::report::markup::Markup;
use crate::report::{Output, ReportInput, Settings, say, span};

/// The findings, gravest first.
pub fn findings(page: &mut Markup, findings: &[(&str, &Finding)]) {
    if findings.is_empty() {
        page.leaf(
            "p",
            &[],
            "None: nothing was noticed that a person should know.",
        );
        return;
    }
    page.element("ol", &[("class", "findings")], |page| {
        for alike in by_kind(findings) {
            page.element("li", &[], |page| alike_findings(page, &alike));
        }
    });
}

/// A finding with the unit it concerns.
type Placed<'a> = (&'a str, &'a Finding);

/// Findings that differ only in where and how much together, in the order of the first of each kind.
fn by_kind<'a>(findings: &[Placed<'a>]) -> Vec<Vec<Placed<'a>>> {
    let mut kinds: Vec<Vec<Placed<'a>>> = Vec::new();
    for &placed in findings {
        match kinds
            .iter_mut()
            .find(|kind| kind_of(kind[0].1) == kind_of(placed.1))
        {
            Some(kind) => kind.push(placed),
            None => kinds.push(vec![placed]),
        }
    }
    kinds
}

/// All of a finding but where and how much.
fn kind_of(finding: &Finding) -> (Weight, [&str; 5]) {
    let Finding {
        code,
        message,
        limit,
        cause,
        next_step,
        ..
    } = finding;
    (finding.weight, [code, message, limit, cause, next_step])
}

fn alike_findings(page: &mut Markup, findings: &[Placed<'_>]) {
    let (_, finding) = findings[0];
    let word = say::weight(finding.weight);
    page.element(
        "span",
        &[("class", &format!("weight weight-{word}"))],
        |page| {
            page.leaf(
                "span",
                &[("aria-hidden", "true")],
                weight_shape(finding.weight),
            );
            page.words(" ");
            page.words(word);
        },
    );
    page.element("div", &[], |page| {
        page.leaf("p", &[], &finding.message);
        let (place, value) = match findings {
            [(unit, one)] => (place_of(unit, one), one.value.as_str()),
            _ => (String::new(), ""),
        };
        if findings.len() > 1 {
            page.element("ul", &[("class", "plain")], |page| {
                for (unit, one) in findings {
                    let separator = if one.value.is_empty() { "" } else { ": " };
                    let words = format!("{}{separator}{}", place_of(unit, one), one.value);
                    page.leaf("li", &[], &words);
                }
            });
        }
        facts(
            page,
            &[
                ("Where", &place),
                ("Found", value),
                ("Allowed", &finding.limit),
                ("Likely cause", &finding.cause),
                ("Next step", &finding.next_step),
                ("Code", &finding.code),
            ],
        );
    });
}

fn place_of(unit: &str, finding: &Finding) -> String {
    match (unit.is_empty(), finding.place.is_empty()) {
        (true, _) => finding.place.clone(),
        (false, true) => unit.to_string(),
        (false, false) => format!("{unit}: {}", finding.place),
    }
}

/// What each unit covers: a measured line, like a dimension in a drawing, and the figures.
pub fn coverage(page: &mut Markup, joint: &JointTake) {
    let rate = say::rate_of(joint).hz();
    let whole = span::whole(joint);
    table(
        page,
        "Each unit's take against the lead's, from the first sample of any to the last of all",
        &["Unit", "Take", "Covered", "Against the lead"],
        |page| {
            for member in &joint.members {
                page.element("tr", &[], |page| {
                    page.leaf("th", &[("scope", "row")], &member.unit);
                    page.element("td", &[], |page| {
                        page.words(say::name_or(&member.take, "unnamed"));
                        page.words(&format!(
                            ", {}",
                            say::clock_time(member.length_samples as f64 / rate)
                        ));
                    });
                    page.element("td", &[("class", "bar")], |page| {
                        measured_line(page, member, joint, whole)
                    });
                    page.leaf("td", &[], &against_lead(member, joint));
                });
            }
        },
    );
}

fn against_lead(member: &Member, joint: &JointTake) -> String {
    let slips = match member.slips.len() {
        0 => String::new(),
        many => format!("; {}, marked on the line", counted(many, "slip")),
    };
    match (member.role, span::span_of(member, joint)) {
        (Role::Lead, _) => format!("is the lead{slips}"),
        (_, Some(covered)) => format!("{}{slips}", span::lacks(covered, joint)),
        (_, None) => "place not established".into(),
    }
}

fn measured_line(page: &mut Markup, member: &Member, joint: &JointTake, whole: span::Span) {
    let place = |lead: f64| {
        let share = (lead - whole.first) / whole.length().max(1.0);
        format!("{:.1}", 4.0 + 992.0 * share.clamp(0.0, 1.0))
    };
    let label = format!("{}: {}", member.unit, against_lead(member, joint));
    let attributes = [
        ("xmlns", "http://www.w3.org/2000/svg"),
        ("class", "cover"),
        ("viewBox", "0 0 1000 16"),
        ("preserveAspectRatio", "none"),
        ("role", "img"),
        ("aria-label", label.as_str()),
    ];
    page.element("svg", &attributes, |page| {
        page.leaf("title", &[], &label);
        let mut line = |class: &str, from: &str, to: &str, top: &str, bottom: &str| {
            page.void(
                "line",
                &[
                    ("class", class),
                    ("x1", from),
                    ("x2", to),
                    ("y1", top),
                    ("y2", bottom),
                ],
            );
        };
        line("base", "0", "1000", "8", "8");
        let Some(covered) = span::span_of(member, joint) else {
            return;
        };
        let (first, end) = (place(covered.first), place(covered.end));
        line("has", &first, &end, "8", "8");
        line("has", &first, &first, "2", "14");
        line("has", &end, &end, "2", "14");
        let seams = member.seams();
        for slip in &member.slips {
            let at = place(covered.first + seams.mended(slip.at_sample as f64));
            line("slip", &at, &at, "0", "16");
        }
    });
}

/// The settings, units in columns; what differs from the lead's says so in a word.
pub fn settings(page: &mut Markup, settings: Settings<'_>, lead: &str) {
    let reference = settings
        .units
        .iter()
        .position(|unit| unit == lead)
        .unwrap_or(0);
    let mut headings = vec!["Setting"];
    headings.extend(settings.units.iter().map(String::as_str));
    headings.push("What a difference does");
    table(page, "As the units wrote them", &headings, |page| {
        for row in settings.rows {
            page.element("tr", &[], |page| {
                page.leaf("th", &[("scope", "row")], &row.name);
                for value in &row.values {
                    let differs = row.differs && Some(value) != row.values.get(reference);
                    let class: &[(&str, &str)] = if differs {
                        &[("class", "differs")]
                    } else {
                        &[]
                    };
                    page.element("td", class, |page| {
                        page.words(value);
                        if differs {
                            page.words(" ");
                            page.leaf("span", &[("class", "word")], "≠ differs");
                        }
                    });
                }
                page.leaf("td", &[], if row.differs { &row.consequence } else { "" });
            });
        }
    });
}

/// The channel list of the output.
pub fn channels(page: &mut Markup, output: &Output) {
    for file in &output.files {
        let heading = format!("{}, {}", file.path, file.encoding);
        let peaks = file
            .channels
            .iter()
            .any(|channel| channel.peak_dbfs.is_some());
        let mut headings = vec!["No.", "Name", "Unit", "Its channel", "Samples"];
        let groups = file
            .channels
            .iter()
            .any(|channel| !channel.group.is_empty());
        if groups {
            headings.push("Group");
        }
        if peaks {
            headings.push("Peak");
        }
        table(page, &heading, &headings, |page| {
            for channel in &file.channels {
                page.element("tr", &[], |page| {
                    page.leaf("th", &[("scope", "row")], &channel.number.to_string());
                    page.leaf("td", &[], say::name_or(&channel.name, "no name"));
                    page.leaf("td", &[], &channel.unit);
                    page.leaf("td", &[], &channel.source_channel.to_string());
                    page.leaf("td", &[], say::came_as_words(channel));
                    if groups {
                        page.leaf("td", &[], &channel.group);
                    }
                    if peaks {
                        let peak = channel.peak_dbfs.map_or(String::new(), |peak| {
                            match peak.is_finite() {
                                true => format!("{peak:+.1} dBFS"),
                                false => "silent".into(),
                            }
                        });
                        page.leaf("td", &[], &peak);
                    }
                });
            }
        });
    }
}

/// Version, source files and output files with their digests.
pub fn provenance(page: &mut Markup, input: &ReportInput<'_>) {
    page.leaf(
        "p",
        &[],
        &format!("Made by {}. The sources were only read.", input.made_by),
    );
    table(
        page,
        "Sources",
        &["Unit", "File", "Samples from", "Samples", "Digest"],
        |page| {
            for member in &input.joint_take.members {
                for part in &member.parts {
                    page.element("tr", &[], |page| {
                        page.leaf("th", &[("scope", "row")], &member.unit);
                        page.leaf("td", &[("class", "code")], &part.path);
                        page.leaf("td", &[], &part.first_sample.to_string());
                        page.leaf("td", &[], &part.length_samples.to_string());
                        page.leaf(
                            "td",
                            &[("class", "code")],
                            say::name_or(&part.digest, "not taken"),
                        );
                    });
                }
            }
        },
    );
    if let Some(output) = input.output {
        page.leaf(
            "p",
            &[],
            &format!(
                "The recording begins at the lead's sample {} and is {} samples long.",
                output.first_lead_position, output.length_samples
            ),
        );
        table(page, "Recording", &["File", "Bytes", "Digest"], |page| {
            for file in &output.files {
                page.element("tr", &[], |page| {
                    page.leaf("th", &[("scope", "row"), ("class", "code")], &file.path);
                    page.leaf("td", &[], &file.bytes.to_string());
                    page.leaf(
                        "td",
                        &[("class", "code")],
                        say::name_or(&file.digest, "not taken"),
                    );
                });
            }
        });
    }
    if !input.others.is_empty() {
        page.leaf("p", &[], "Other recordings of the same cards:");
        page.element("ul", &[("class", "plain")], |page| {
            for other in input.others {
                page.element("li", &[], |page| {
                    page.leaf("a", &[("href", &other.href)], &other.name)
                });
            }
        });
    }
}

/// A table that may be wider than a small screen: it scrolls by itself, also from the keyboard.
pub fn table(page: &mut Markup, caption: &str, headings: &[&str], rows: impl FnOnce(&mut Markup)) {
    let region = [
        ("class", "scroll"),
        ("role", "region"),
        ("tabindex", "0"),
        ("aria-label", caption),
    ];
    page.element("div", &region, |page| {
        page.element("table", &[], |page| {
            page.leaf("caption", &[], caption);
            page.element("thead", &[], |page| {
                page.element("tr", &[], |page| {
                    for heading in headings {
                        page.leaf("th", &[("scope", "col")], heading);
                    }
                });
            });
            page.element("tbody", &[], rows);
        });
    });
}
