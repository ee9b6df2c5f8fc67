//! Shoots in, folders of real files out: one card a unit, and `truth.json` beside the cards.

use std::fs::File;
use std::io::BufReader;
use std::path::Path;

use serde::{Deserialize, Serialize};

use crate::card::CardWriter;
use crate::error::{Error, Result};
use crate::perform::Performance;
use crate::shoot::Shoot;
use crate::truth::Truth;

/// The name of the file that says what is true.
pub const TRUTH_FILE: &str = "truth.json";
const FORMAT: &str = "commontime-rehearsal";

/// What `truth.json` holds.
#[derive(Debug, Serialize, Deserialize)]
struct TruthFile {
    format: String,
    version: u32,
    takes: Vec<Truth>,
}

/// Performs shoots one after the other and writes them below `root`: each unit's takes to a card of the unit's name,
/// and [`TRUTH_FILE`]. Nothing that exists is overwritten; memory does not grow with the length. `progress` is told the
/// share that is done, 0 to 1.
///
/// # Errors
/// When a plan contradicts itself, a recording cannot be read, or a file exists or cannot be written.
pub fn write_shoots(
    shoots: &[Shoot],
    root: &Path,
    progress: impl FnMut(f64),
) -> Result<Vec<Truth>> {
    let truths = write_cards(shoots, root, progress)?;
    write_truth(&truths, root)?;
    Ok(truths)
}

/// The same without [`TRUTH_FILE`].
pub(crate) fn write_cards(
    shoots: &[Shoot],
    root: &Path,
    mut progress: impl FnMut(f64),
) -> Result<Vec<Truth>> {
    let whole_s: f64 = shoots.iter().map(|shoot| shoot.seconds).sum();
    let mut before_s = 0.0;
    let mut truths = Vec::new();
    for shoot in shoots {
        truths.push(write_one(shoot, root, |done_s| {
            progress((before_s + done_s) / whole_s)
        })?);
        before_s += shoot.seconds;
    }
    Ok(truths)
}

fn write_one(shoot: &Shoot, root: &Path, mut progress: impl FnMut(f64)) -> Result<Truth> {
    shoot.validate()?;
    let mut truth = Truth::of(shoot)?;
    let cards = truth.units.iter().enumerate();
    let mut cards = cards
        .map(|(index, unit)| CardWriter::new(shoot, unit, index, root))
        .collect::<Result<Vec<_>>>()?;
    let mut done_s = 0.0;
    shoot.perform_blocks(|unit, planes| {
        cards[unit].write(planes)?;
        if unit == 0 {
            let rate_hz = f64::from(shoot.units[unit].rate_hz);
            done_s += planes.first().map_or(0, Vec::len) as f64 / rate_hz;
            progress(done_s);
        }
        Ok(())
    })?;
    let files = cards
        .into_iter()
        .map(CardWriter::finish)
        .collect::<Result<Vec<_>>>()?;
    for (unit, files) in truth.units.iter_mut().zip(files) {
        unit.files = files;
    }
    Ok(truth)
}

fn write_truth(truths: &[Truth], root: &Path) -> Result<()> {
    let path = root.join(TRUTH_FILE);
    #[expect(
        clippy::disallowed_methods,
        reason = "rehearsal makes the files of a shoot"
    )]
    let file = File::create_new(&path).map_err(|error| Error::file(&path, error))?;
    let whole = TruthFile {
        format: FORMAT.to_owned(),
        version: 1,
        takes: truths.to_vec(),
    };
    serde_json::to_writer_pretty(file, &whole).map_err(|error| Error::file(&path, error))
}

/// What is true of the shoots written below `root`, in the order they were written.
///
/// # Errors
/// When there is no [`TRUTH_FILE`] or it is not one of ours.
pub fn read_truth(root: &Path) -> Result<Vec<Truth>> {
    let path = root.join(TRUTH_FILE);
    let file = File::open(&path).map_err(|error| Error::file(&path, error))?;
    let whole: TruthFile =
        serde_json::from_reader(BufReader::new(file)).map_err(|error| Error::file(&path, error))?;
    if whole.format != FORMAT || whole.version != 1 {
        return Err(Error::file(
            &path,
            "not the truth of a rehearsal, version 1",
        ));
    }
    Ok(whole.takes)
}

impl Shoot {
    /// Performs the shoot and writes it below `root`; see [`write_shoots`].
    ///
    /// # Errors
    /// As [`write_shoots`].
    pub fn write(&self, root: &Path) -> Result<Truth> {
        let truths = write_shoots(std::slice::from_ref(self), root, |_| {})?;
        truths
            .into_iter()
            .next()
            .ok_or_else(|| Error::invalid("there is no shoot"))
    }
}

impl Performance {
    /// Writes what was performed in memory below `root`, as [`Shoot::write`] writes it.
    ///
    /// # Errors
    /// When a file exists or cannot be written.
    pub fn write(&self, root: &Path) -> Result<Truth> {
        let mut truth = self.truth.clone();
        for (index, recorded) in self.units.iter().enumerate() {
            let mut card =
                CardWriter::new(&self.truth.shoot, &self.truth.units[index], index, root)?;
            card.write(&recorded.planes)?;
            truth.units[index].files = card.finish()?;
        }
        write_truth(std::slice::from_ref(&truth), root)?;
        Ok(truth)
    }
}
