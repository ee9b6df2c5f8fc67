//! The sound of two units in, the channel pairs that carry one electrical signal out, found by their coherence.
//!
//! An electrical signal recorded twice differs by a gain, a delay and noise only: over the band it occupies the phase is
//! straight. Two microphones in a room differ by a long, dense response: the phase departs from every smooth curve, in
//! the same way whenever it is looked at, however coherent they are. First all pairs are correlated in windows spread
//! over the overlap (`search`), then what keeps one plausible clock is looked at closely (`transfer`). Where that finds no
//! wire, the same is done where channels sound that are quiet most of the time (`seldom`).

mod ladder;
mod search;
mod seldom;
mod level;
mod evened;
mod transfer;

pub use ladder::{Ladder, Rung, climb};
use search::{Scope, Track, strongest};
use seldom::seldom;
use transfer::{Transfer, transfers, transfers_at_places, window};

use crate::error::Result;
use crate::finding::Sign;
use crate::progress::Progress;
use crate::signal::Sound;
use crate::tie::{Guess, all_pairs};
use crate::units::{Db, LeadPos, Samples};

/// Largest mean square departure of the phase from a smooth curve that a wire is allowed, radians squared (-40 dB), after
/// two sigma are taken off for what noise makes of none. Two microphones 15 cm from one talker in the driest of rooms
/// (reverberation 0.2 s) have 6e-4, at 30 cm or in ordinary rooms 2e-3 to 5e-2; a signal split electrically has less than
/// its own uncertainty (all measured, `common_table echo`).
const ECHO: f64 = 1e-4;
/// Beyond this, two sigma added, the pair is too noisy to tell a wire from microphones.
const UNCERTAIN_ECHO: f64 = 2e-3;
/// Least mean cosine of the phase about a straight line over the coherent bins.
const STRAIGHT: f64 = 0.97;
/// Largest scatter of the level ratio, smoothed, over the strongly coherent bins, dB: more is a tone control, or a
/// microphone beside a wire.
const UNEVEN_DB: f64 = 3.0;
/// Least coherent bandwidth, Hz: less is a hum or a drone, whose delay is ambiguous.
const LEAST_BAND_HZ: f64 = 300.0;
/// A second place that fits this well beside the first makes the delay ambiguous (an exact loop has 1).
const AMBIGUOUS: f64 = 0.9;
/// Places along a ladder that are looked at, at most.
const ALONG: usize = 24;
/// So many of them in a row may tell by themselves.
const IN_A_ROW: usize = 4;
/// Least share of the windows with any correlation that keep one clock.
const AGREEING: f64 = 0.5;

/// Two channels that carry one electrical signal; channels are 0-based.
#[derive(Debug, Clone, PartialEq)]
pub struct CommonPair {
    /// The lead's channel.
    pub lead: usize,
    /// The follower's channel.
    pub follower: usize,
    /// Mean magnitude-squared coherence over the coherent bins.
    pub coherence: f64,
    /// Mean cosine of the phase about a straight line, 1 for one tap.
    pub straightness: f64,
    /// Mean square departure of the phase from a smooth curve, radians squared: 0 for one tap, about the ratio of
    /// reflected to direct sound for microphones.
    pub echo: f64,
    /// One standard deviation of [`Self::echo`].
    pub echo_sigma: f64,
    /// Scatter of the smoothed level ratio over the strongly coherent bins, dB.
    pub uneven_db: f64,
    /// Whether one side is inverted.
    pub inverted: bool,
    /// The follower's level against the lead's.
    pub gain: Db,
    /// One standard deviation of [`Self::gain`]; infinite when no window told a level.
    pub gain_sigma: Db,
    /// Lowest and highest coherent frequency, Hz.
    pub band_hz: (f64, f64),
    /// Coherent bandwidth, Hz.
    pub bandwidth_hz: f64,
    /// The best other place against the best, 0 to 1.
    pub second_peak: f64,
    /// Share of the windows with any correlation that keep one clock.
    pub agreement: f64,
    /// How much delay the pair can tell, the sum of `f^2 c / (1 - c)` over the coherent bins, Hz^2: the best pair has most.
    pub score: f64,
    /// Where the signal was found, window by window: the lead position of the window's middle and the follower's offset there.
    pub places: Vec<(LeadPos, LeadPos)>,
    /// Offsets of other places that fit as well, when the delay is ambiguous.
    pub rivals: Vec<LeadPos>,
}

/// What came of looking at one channel pair.
#[derive(Debug, Clone, PartialEq)]
pub enum Verdict {
    /// One electrical signal.
    Common(Box<CommonPair>),
    /// Not one electrical signal, or none that can be recognised.
    Other {
        /// What was asked; empty when the channels have nothing in common anywhere.
        signs: Vec<Sign>,
        /// Why, in one sentence.
        why: String,
    },
}

impl CommonPair {
    /// Whether the delay is one of several that fit alike.
    #[must_use]
    pub fn is_ambiguous(&self) -> bool {
        self.second_peak > AMBIGUOUS
    }

    /// What was asked of the pair, one sign a question; that no other place fits alike is among them.
    #[must_use]
    pub fn signs(&self) -> Vec<Sign> {
        let mut signs = self.nature();
        signs.push(Sign {
            name: "best other place against the best".into(),
            value: self.second_peak,
            limit: AMBIGUOUS,
            passed: !self.is_ambiguous(),
        });
        signs
    }

    /// The signs that tell an electrical signal from anything else.
    fn nature(&self) -> Vec<Sign> {
        vec![
            Sign::at_least(
                "windows that keep one clock, share",
                self.agreement,
                AGREEING,
            ),
            Sign::at_least("coherent bandwidth, Hz", self.bandwidth_hz, LEAST_BAND_HZ),
            Sign::at_least("straightness of the phase", self.straightness, STRAIGHT),
            Sign::at_most(
                "phase off a smooth curve, mean square less two sigma, rad^2",
                self.echo - 2.0 * self.echo_sigma,
                ECHO,
            ),
            Sign::at_most(
                "phase off a smooth curve, mean square and two sigma, rad^2",
                self.echo + 2.0 * self.echo_sigma,
                UNCERTAIN_ECHO,
            ),
            Sign::at_most("scatter of the level ratio, dB", self.uneven_db, UNEVEN_DB),
        ]
    }
}

/// What came of looking for a common signal.
#[derive(Debug, Clone, PartialEq)]
pub struct Search {
    /// The pairs that carry one, best first; pairs whose delay is ambiguous come last and say so.
    pub common: Vec<CommonPair>,
    /// The pairs that correlate most, strongest first: where slips part a common signal no single clock fits, and none of
    /// them is among [`Self::common`].
    pub likely: Vec<LikelyPair>,
}

/// Looks for a common signal among all channel pairs. Best first; pairs whose delay is ambiguous come last and say so.
///
/// # Errors
/// When a file cannot be read.
pub fn find_common(
    lead: &dyn Sound,
    follower: &dyn Sound,
    guess: &Guess,
    progress: &dyn Progress,
) -> Result<Vec<CommonPair>> {
    let pairs = all_pairs(lead, follower);
    Ok(search_common(lead, follower, guess, &pairs, progress)?.common)
}

/// Looks for a common signal among channel pairs (0-based: lead and follower).
///
/// # Errors
/// When a file cannot be read.
pub fn search_common(
    lead: &dyn Sound,
    follower: &dyn Sound,
    guess: &Guess,
    pairs: &[(usize, usize)],
    progress: &dyn Progress,
) -> Result<Search> {
    let scope = Scope::new(lead, follower, guess);
    let heard = scope.heard(pairs, progress)?;
    let tracks = scope.tracks(pairs, &heard);
    let mut common = wires(&transfers(&scope, &tracks, progress)?, &tracks);
    if common.iter().all(CommonPair::is_ambiguous) {
        common.extend(common_seldom((lead, follower), guess, pairs, progress)?);
    }
    common.sort_by(|x, y| {
        let key = |pair: &CommonPair| (!pair.is_ambiguous(), pair.score);
        let (x, y) = (key(x), key(y));
        y.0.cmp(&x.0).then(y.1.total_cmp(&x.1))
    });
    let likely = strongest(pairs, &heard)
        .into_iter()
        .map(|strong| LikelyPair {
            best: strong.best(),
            lead: strong.pair.0,
            follower: strong.pair.1,
            inverted: strong.places.iter().map(|place| place.2).sum::<f64>() < 0.0,
            offset: LeadPos(strong.places[0].1),
            height: strong.height(),
        })
        .collect();
    Ok(Search { common, likely })
}

/// The tracks' pairs that are electrical signals, by what stands between their channels.
fn wires(found: &[Transfer], tracks: &[Track]) -> Vec<CommonPair> {
    found
        .iter()
        .zip(tracks)
        .filter_map(|(transfer, track)| described(transfer, track))
        .filter(|pair| pair.nature().iter().all(|sign| sign.passed))
        .collect()
}

/// Looks for a common signal that sounds now and then, where it sounds.
fn common_seldom(
    (lead, follower): (&dyn Sound, &dyn Sound),
    guess: &Guess,
    pairs: &[(usize, usize)],
    progress: &dyn Progress,
) -> Result<Vec<CommonPair>> {
    let (on_lead, on_follower) = seldom(lead, follower, guess, pairs, progress)?;
    let mut common = Vec::new();
    for quiet in on_lead {
        let both =
            |pair: &&(usize, usize)| pair.0 == quiet.channel && on_follower.contains(&pair.1);
        let pairs: Vec<(usize, usize)> = pairs.iter().filter(both).copied().collect();
        if pairs.is_empty() {
            continue;
        }
        let scope = Scope::about(lead, follower, guess, &quiet.middles);
        let tracks = scope.tracks(&pairs, &scope.heard(&pairs, progress)?);
        // not between its places: nothing sounds there
        let found = transfers_at_places(&scope, &tracks, progress)?;
        common.extend(wires(&found, &tracks));
    }
    Ok(common)
}

/// Looks at one named channel pair (0-based lead and follower channel) as closely as at one that was found.
///
/// # Errors
/// When a file cannot be read.
pub fn verify_common(
    lead: &dyn Sound,
    follower: &dyn Sound,
    guess: &Guess,
    named: (usize, usize),
) -> Result<Verdict> {
    let verdict = verified_evenly(lead, follower, guess, named)?;
    let clear = matches!(&verdict, Verdict::Common(pair) if !pair.is_ambiguous());
    let there = named.0 < lead.channels() && named.1 < follower.channels();
    if clear || !there {
        return Ok(verdict);
    }
    let silent = &crate::progress::Silent;
    let seldom = common_seldom((lead, follower), guess, &[named], silent)?.pop();
    Ok(seldom.map_or(verdict, |pair| Verdict::Common(Box::new(pair))))
}

/// The same in windows that are spread evenly.
fn verified_evenly(
    lead: &dyn Sound,
    follower: &dyn Sound,
    guess: &Guess,
    named: (usize, usize),
) -> Result<Verdict> {
    let nothing = |why: &str| {
        Ok(Verdict::Other {
            signs: Vec::new(),
            why: why.into(),
        })
    };
    if named.0 >= lead.channels() || named.1 >= follower.channels() {
        return nothing("there is no such channel");
    }
    let scope = Scope::new(lead, follower, guess);
    let silent = &crate::progress::Silent;
    let tracks = scope.tracks(&[named], &scope.heard(&[named], silent)?);
    let Some(track) = tracks.first() else {
        return nothing("nothing on the two channels keeps one plausible clock within the search");
    };
    let found = transfers(&scope, &tracks, silent)?;
    let Some(pair) = found.first().and_then(|found| described(found, track)) else {
        return nothing("what the two channels have in common is not coherent in any band");
    };
    let signs = pair.signs();
    match pair.nature().into_iter().find(|sign| !sign.passed) {
        None => Ok(Verdict::Common(Box::new(pair))),
        Some(failed) => Ok(Verdict::Other {
            signs,
            why: format!("the two channels are no common signal: {}", failed.name),
        }),
    }
}

/// Whether two channels (0-based lead and follower channel) carry one electrical signal within the stretches of a ladder that
/// was climbed on them, whatever it does between them. No when no stretch is long enough to tell. A step of a sample or two
/// parts no stretch but spoils the window it is in: some windows in a row suffice.
///
/// # Errors
/// When a file cannot be read.
pub fn is_common_along(
    lead: &dyn Sound,
    follower: &dyn Sound,
    (pair, inverted): ((usize, usize), bool),
    ladder: &Ladder,
) -> Result<bool> {
    let guess = Guess {
        offset: LeadPos(0.0),
        within: Samples(0.0),
    };
    let scope = Scope::new(lead, follower, &guess);
    let places = ladder.windows(window(&scope) as f64, ALONG);
    let tracks: Vec<Track> = std::iter::once(&places[..])
        .chain(places.chunks(IN_A_ROW))
        .map(|places| Track {
            pair,
            places: places.to_vec(),
            slope: ladder.slope,
            inverted,
            agreement: 1.0,
            second_peak: 0.0,
            rivals: Vec::new(),
        })
        .collect();
    let found = transfers_at_places(&scope, &tracks, &crate::progress::Silent)?;
    let mut described = found
        .iter()
        .zip(&tracks)
        .filter_map(|(f, t)| described(f, t));
    Ok(described.any(|pair| pair.nature().iter().all(|sign| sign.passed)))
}

/// Two channels that correlate strongly wherever they were looked at, whatever clock they keep; channels are 0-based.
#[derive(Debug, Clone, PartialEq)]
pub struct LikelyPair {
    /// The lead's channel.
    pub lead: usize,
    /// The follower's channel.
    pub follower: usize,
    /// Whether one side is inverted.
    pub inverted: bool,
    /// The follower's offset in the first place where they correlate.
    pub offset: LeadPos,
    /// The place on the lead where they correlate most, and the offset there.
    pub best: (LeadPos, LeadPos),
    /// Median height of the whitened correlation's peaks, 0 to 1.
    pub height: f64,
}

fn described(transfer: &Transfer, track: &Track) -> Option<CommonPair> {
    let judged = transfer.judged()?;
    Some(CommonPair {
        lead: track.pair.0,
        follower: track.pair.1,
        coherence: judged.coherence,
        straightness: judged.straightness,
        echo: judged.echo,
        echo_sigma: judged.echo_sigma,
        uneven_db: judged.uneven_db,
        inverted: track.inverted,
        gain: judged.gain,
        gain_sigma: judged.gain_sigma,
        band_hz: judged.band_hz,
        bandwidth_hz: judged.bandwidth_hz,
        second_peak: track.second_peak,
        agreement: track.agreement,
        score: judged.score,
        places: transfer
            .places
            .iter()
            .map(|&(middle, offset)| (LeadPos(middle), LeadPos(offset)))
            .collect(),
        rivals: if track.second_peak > AMBIGUOUS {
            track.rivals.iter().map(|&rival| LeadPos(rival)).collect()
        } else {
            Vec::new()
        },
    })
}
