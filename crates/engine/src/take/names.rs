//! A file's metadata in, one name a channel out; and file names in, what they say about the order of files.

use wave::Header;

use crate::finding::{Finding, Weight};

/// The names of a file's channels in the order of the audio, empty where it gives none. iXML ties a name to the audio by
/// `INTERLEAVE_INDEX`, not by `CHANNEL_INDEX`, which is the number of the input on the unit.
pub(super) fn channel_names(
    header: &Header,
    place: &str,
    findings: &mut Vec<Finding>,
) -> Vec<String> {
    let channels = u32::from(header.format.channels);
    let tracks = header.ixml.as_ref().map_or(&[][..], |ixml| &ixml.tracks);
    let placed = tracks.iter().any(|track| track.interleave_index.is_some());
    if !tracks.is_empty() && tracks.len() != channels as usize {
        findings.push(
            Finding::new(
                "track-list-length",
                Weight::Note,
                "the track list is not as long as the file has channels",
            )
            .at(place)
            .measured(
                format!("{} tracks", tracks.len()),
                format!("{channels} channels"),
            )
            .then("check the channel names in the report"),
        );
    }
    let description = header.bext.as_ref().map_or("", |bext| &bext.description);
    let name = |channel: u32| -> Option<&str> {
        if placed {
            header.ixml.as_ref()?.channel_name(channel)
        } else if tracks.len() == channels as usize {
            tracks.get(channel as usize - 1)?.name.as_deref()
        } else {
            described(description, channel)
        }
    };
    (1..=channels)
        .map(|channel| {
            let name = name(channel).or_else(|| described(description, channel));
            name.unwrap_or_default().trim().to_string()
        })
        .collect()
}

/// The value of a line `TRK1=name`, any one letter before it, in a bext description (common practice, no source).
fn described(description: &str, channel: u32) -> Option<&str> {
    description.lines().find_map(|line| {
        let (key, value) = line.split_once('=')?;
        let at = key.trim().to_ascii_uppercase();
        let number = at
            .strip_prefix("TRK")
            .or_else(|| at.get(1..)?.strip_prefix("TRK"))?;
        (number.parse() == Ok(channel)).then_some(value)
    })
}

/// What stands before the number at the end of a file's name, and the number.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Numbered {
    /// The name without the number, what separates it and words for "channel".
    pub base: String,
    /// The number.
    pub number: u64,
}

/// Takes `T01_3`, `T01-Ch3`, `T01.tr03`, `T01_L` (1) and `T01_R` (2) apart; `None` when nothing separates a number.
pub(super) fn numbered(name: &str) -> Option<Numbered> {
    const SEPARATORS: [char; 4] = ['_', '-', '.', ' '];
    const WORDS: [&str; 6] = ["track", "chan", "trk", "ch", "tr", "m"];
    let (base, last) = name.rsplit_once(SEPARATORS)?;
    if base.trim_matches(SEPARATORS).is_empty() {
        return None;
    }
    let last = last.to_ascii_lowercase();
    let digits = WORDS
        .iter()
        .find_map(|word| last.strip_prefix(word))
        .unwrap_or(&last);
    let number = match digits {
        "l" => 1,
        "r" => 2,
        digits if digits.bytes().all(|byte| byte.is_ascii_digit()) => digits.parse().ok()?,
        _ => return None,
    };
    Some(Numbered {
        base: base.trim_end_matches(SEPARATORS).to_string(),
        number,
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_number_at_the_end_is_one_only_when_set_apart() {
        let of = |name| numbered(name).map(|n| (n.base, n.number));
        assert_eq!(of("T01_3"), Some(("T01".into(), 3)));
        assert_eq!(of("T01-Ch12"), Some(("T01".into(), 12)));
        assert_eq!(of("evening 02.tr03"), Some(("evening 02".into(), 3)));
        assert_eq!(of("choir_R"), Some(("choir".into(), 2)));
        assert_eq!(of("T013"), None);
        assert_eq!(of("_3"), None);
        assert_eq!(of("take_a"), None);
    }

    #[test]
    fn a_description_names_channels_by_lines() {
        let text = "sSPEED=025.000-ND\r\nsTRK1=Boom\r\nsTRK12=Lav 9\r\n";
        assert_eq!(described(text, 1), Some("Boom"));
        assert_eq!(described(text, 12), Some("Lav 9"));
        assert_eq!(described(text, 2), None);
    }
}
