//! Text in, the faces that can show it and how wide it comes out: each character by the first face that has it.

use std::borrow::Cow;

use krilla::text::Font;
use skrifa::instance::{LocationRef, Size};
use skrifa::{FontRef, MetadataProvider};

use crate::error::{Error, Kind, Result};

/// Noto Sans (SIL Open Font License, `fonts/OFL.txt`): Latin, Greek and Cyrillic.
const REGULAR: &[u8] = include_bytes!("fonts/NotoSans-Regular.ttf");
const BOLD: &[u8] = include_bytes!("fonts/NotoSans-Bold.ttf");

/// What stands for a character that no face has.
const STAND_IN: char = '\u{fffd}';
/// The same in faces that lack even that.
const LAST: char = '?';

/// Of a collection of faces the first is taken.
const FIRST: u32 = 0;

/// The faces that papers are printed with: the two that come with the program, and further ones for scripts that those
/// lack.
#[derive(Debug)]
pub struct Faces {
    regular: Face,
    bold: Face,
    further: Vec<Face>,
}

/// One face.
#[derive(Debug)]
pub struct Face {
    font: Font,
    data: Cow<'static, [u8]>,
}

/// A stretch of text that one face shows.
pub struct Run {
    /// The face.
    pub font: Font,
    /// The text, with a stand-in for what no face has.
    pub text: String,
    /// How wide it is at one point of size.
    pub width: f32,
}

impl Face {
    fn new(data: Cow<'static, [u8]>) -> Option<Self> {
        let shared: krilla::Data = match &data {
            Cow::Borrowed(data) => (*data).into(),
            Cow::Owned(data) => data.clone().into(),
        };
        let font = Font::new(shared, FIRST)?;
        FontRef::from_index(&data, FIRST).ok()?;
        Some(Self { font, data })
    }

    /// How wide `character` is at one point of size; `None` when the face lacks it.
    fn width(&self, face: &FontRef<'_>, character: char) -> Option<f32> {
        let glyph = face.charmap().map(character)?;
        let metrics = face.glyph_metrics(Size::new(1.0), LocationRef::default());
        metrics.advance_width(glyph)
    }

    fn reader(&self) -> Option<FontRef<'_>> {
        FontRef::from_index(&self.data, FIRST).ok()
    }
}

impl Faces {
    /// The faces that come with the program, then `further` ones, from [`Faces::further`].
    ///
    /// # Errors
    /// [`Kind::Format`] when the program's own are broken.
    pub fn with(further: Vec<Face>) -> Result<Self> {
        let own = |data| Face::new(Cow::Borrowed(data)).ok_or_else(no_face);
        Ok(Self {
            regular: own(REGULAR)?,
            bold: own(BOLD)?,
            further,
        })
    }

    /// The face of a font file, TrueType or OpenType; of a collection the first.
    ///
    /// # Errors
    /// [`Kind::Format`] when it holds none.
    pub fn further(data: Vec<u8>) -> Result<Face> {
        Face::new(Cow::Owned(data)).ok_or_else(|| no_face().then("give a .ttf, .otf or .ttc file"))
    }

    /// The text in runs of one face each, in order; characters that no face has are added to `missing`.
    pub fn runs(&self, text: &str, bold: bool, missing: &mut Vec<char>) -> Vec<Run> {
        let first = if bold { &self.bold } else { &self.regular };
        let faces: Vec<(&Face, FontRef<'_>)> = std::iter::once(first)
            .chain(&self.further)
            .filter_map(|face| Some((face, face.reader()?)))
            .collect();
        let mut runs: Vec<(usize, Run)> = Vec::new();
        for character in text.chars() {
            let Some((place, shown, width)) = shown(&faces, character, missing) else {
                continue;
            };
            match runs.last_mut() {
                Some((last, run)) if *last == place => {
                    run.text.push(shown);
                    run.width += width;
                }
                _ => runs.push((
                    place,
                    Run {
                        font: faces[place].0.font.clone(),
                        text: shown.into(),
                        width,
                    },
                )),
            }
        }
        runs.into_iter().map(|(_, run)| run).collect()
    }

    /// How wide the text is at one point of size.
    pub fn width(&self, text: &str, bold: bool) -> f32 {
        let runs = self.runs(text, bold, &mut Vec::new());
        runs.iter().map(|run| run.width).sum()
    }
}

fn no_face() -> Error {
    Error::new(Kind::Format, "is no TrueType or OpenType font")
}

/// The first face that shows the character, what it shows for it and how wide; `None` for what takes no room.
fn shown(
    faces: &[(&Face, FontRef<'_>)],
    character: char,
    missing: &mut Vec<char>,
) -> Option<(usize, char, f32)> {
    let of = |wanted: char| {
        let mut found = faces.iter().enumerate();
        found.find_map(|(place, (face, reader))| Some((place, wanted, face.width(reader, wanted)?)))
    };
    if character.is_control() {
        return match character {
            '\t' | '\n' | '\r' => of(' '),
            _ => None,
        };
    }
    of(character).or_else(|| {
        if !missing.contains(&character) {
            missing.push(character);
        }
        of(STAND_IN).or_else(|| of(LAST))
    })
}
