//! A claim about a take that was looked for by its sound or its timecode in, what may be said because of that out. A place
//! by sound that the take's own stamps contradict is taken only when other takes of the unit are wrong by the same.

use crate::alignment::{Basis, Status};
use crate::finding::{Finding, Weight};
use crate::pair::Ground;

use super::claim::Claim;

pub(super) fn judge(claim: &mut Claim, ground: Ground) {
    match claim.basis {
        Basis::None => claim.story.push(match ground {
            Ground::Sound { height, .. } => format!(
                "its onsets fit this take of the lead (height {height:.1}), but no clock could be measured there"
            ),
            Ground::Timecode { words, .. } => format!(
                "{words} words of the timecode on its tracks are those of this take of the lead, but no clock could be \
                 measured there"
            ),
            Ground::SameDifference { takes } => format!(
                "{takes} other takes of this unit say by how much its stamps are wrong, but no sound confirms this one"
            ),
        }),
        Basis::Acoustic | Basis::CommonSignal | Basis::TimecodeTrack => {
            claim.story.push(grounds(ground));
            claim.findings.push(told(claim.basis, ground));
            let alone = matches!(ground, Ground::Sound { alike: 1, .. });
            if alone && claim.basis == Basis::Acoustic {
                claim.status = Status::NeedsDecision;
                claim.findings.push(contradicted());
            }
        }
        _ => {}
    }
}

fn grounds(ground: Ground) -> String {
    match ground {
        Ground::Sound { height, margin, .. } => {
            let next = match margin.is_finite() {
                true => format!("{margin:.1} times the next best place"),
                false => "no other place comes near".into(),
            };
            format!(
                "its onsets were compared with every take of the lead that had none of this unit's: here they stand \
                 {height:.1} over chance, {next}"
            )
        }
        Ground::Timecode { words, .. } => format!(
            "{words} words of the timecode on its tracks are those of this take of the lead"
        ),
        Ground::SameDifference { takes } => format!(
            "its stamps were corrected by what {takes} other takes of this unit were found to be wrong by"
        ),
    }
}

fn told(basis: Basis, ground: Ground) -> Finding {
    let value = match ground {
        Ground::Sound {
            height,
            margin,
            alike,
        } => {
            let margin = if margin.is_finite() {
                format!(", {margin:.1} times the next best place")
            } else {
                String::new()
            };
            let alike = match alike {
                0 => ", no stamps to compare with".into(),
                1 => ", no other take speaks for it".into(),
                many => format!(", {many} takes differ from their stamps by the same"),
            };
            format!("height {height:.1} over chance{margin}{alike}")
        }
        Ground::Timecode { words, .. } => {
            return Finding::new(
                "paired-by-timecode",
                Weight::Note,
                "paired and placed by the timecode on its tracks: the stamps did not tell",
            )
            .measured(format!("{words} words with the same labels"), "100 words")
            .because("the units' timecode was not linked, was lost, or is missing")
            .then("nothing, unless days with the same labels lie on one card");
        }
        Ground::SameDifference { takes } => {
            format!("its stamps, corrected by what {takes} other takes say, then measured")
        }
    };
    let (weight, next) = match basis {
        Basis::CommonSignal => (Weight::Note, "nothing: a common signal measured the place"),
        Basis::TimecodeTrack => (
            Weight::Note,
            "nothing: the timecode on the tracks measured the place",
        ),
        _ => (
            Weight::Warn,
            "listen whether both belong together; the place is good to the microphone distance",
        ),
    };
    Finding::new(
        "paired-by-sound",
        weight,
        "paired and placed by its sound: the stamps did not tell",
    )
    .measured(value, "height 8.0, 1.3 times the next best place")
    .because("the units' timecode was not linked, was lost, or is missing")
    .then(next)
}

fn contradicted() -> Finding {
    Finding::new(
        "stamps-contradicted",
        Weight::Ask,
        "the take's own stamp says that it did not run with this one, and no other take speaks for the sound",
    )
    .measured("1 take", "2 takes whose stamps are wrong by the same")
    .because("a unit that was never linked; or one piece played twice, from one recording")
    .then(
        "listen; to accept it, set \"status\" to \"established\" in alignment.json and run `commontime build`, or give an \
         instant with --tie",
    )
}
