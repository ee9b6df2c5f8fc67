//! Text, rules and pictures in one after the other, pages of marks at their places out. Points of 1/72 inch, from the
//! upper left corner.

use super::super::plots::{Drawing, Size};
use super::face::Faces;

/// The size of the paper and its margins, points. ISO 216: A4 is 210 by 297 mm.
#[derive(Debug, Clone, Copy)]
pub struct Sheet {
    /// Width.
    pub width: f32,
    /// Height.
    pub height: f32,
}

impl Sheet {
    /// A4 upright.
    pub const TALL: Self = Self {
        width: 595.28,
        height: 841.89,
    };
    /// A4 lying.
    pub const BROAD: Self = Self {
        width: 841.89,
        height: 595.28,
    };
    /// Empty at all sides.
    pub const MARGIN: f32 = 43.0;

    fn bottom(self) -> f32 {
        // the running foot stands below
        self.height - Self::MARGIN - 12.0
    }

    /// What text may take across.
    pub fn across(self) -> f32 {
        self.width - 2.0 * Self::MARGIN
    }
}

/// How text looks.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Style {
    /// Its size, points.
    pub size: f32,
    /// Whether it is bold.
    pub bold: bool,
}

impl Style {
    /// Text of a size.
    pub const fn new(size: f32) -> Self {
        Self { size, bold: false }
    }

    /// The same, bold.
    pub const fn bold(self) -> Self {
        Self { bold: true, ..self }
    }

    /// From one line to the next.
    pub fn line(self) -> f32 {
        self.size * 1.32
    }

    /// From the top of a line to what letters stand on.
    pub fn ascent(self) -> f32 {
        self.size * 1.02
    }
}

/// The inks of a printed page; legible without colour.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Ink {
    /// Black.
    Text,
    /// Grey that is still read.
    Soft,
    /// Rules.
    Rule,
}

/// Something at its place on a page.
#[derive(Debug)]
pub enum Mark {
    /// Text; y is what letters stand on.
    Words {
        /// From the left.
        x: f32,
        /// From the top.
        y: f32,
        /// How it looks.
        style: Style,
        /// Its ink.
        ink: Ink,
        /// What it says.
        text: String,
    },
    /// A straight line.
    Line {
        /// Where it begins.
        from: (f32, f32),
        /// Where it ends.
        to: (f32, f32),
        /// How wide it is.
        width: f32,
        /// Its ink.
        ink: Ink,
    },
    /// A picture.
    Picture {
        /// Its upper left corner.
        at: (f32, f32),
        /// Points a pixel of its own.
        scale: f32,
        /// What is drawn.
        drawing: Drawing,
        /// Its own size.
        size: Size,
    },
}

/// Puts one thing below the other and begins pages.
pub struct Flow<'a> {
    /// The faces text is measured with.
    pub faces: &'a Faces,
    sheet: Sheet,
    pages: Vec<Vec<Mark>>,
    y: f32,
    missing: Vec<char>,
}

impl<'a> Flow<'a> {
    /// An empty first page.
    pub fn new(faces: &'a Faces, sheet: Sheet) -> Self {
        Self {
            faces,
            sheet,
            pages: vec![Vec::new()],
            y: Sheet::MARGIN,
            missing: Vec::new(),
        }
    }

    /// The pages.
    pub fn finish(self) -> Vec<Vec<Mark>> {
        self.pages
    }

    /// What may be taken across.
    pub fn across(&self) -> f32 {
        self.sheet.across()
    }

    /// What is left of the page below.
    pub fn left(&self) -> f32 {
        self.sheet.bottom() - self.y
    }

    /// What a page holds from top to bottom.
    pub fn whole(&self) -> f32 {
        self.sheet.bottom() - Sheet::MARGIN
    }

    /// Where the next thing comes, from the top.
    pub fn y(&self) -> f32 {
        self.y
    }

    /// Room, none at the top of a page.
    pub fn space(&mut self, points: f32) {
        if self.y > Sheet::MARGIN {
            self.y += points;
        }
    }

    /// A new page unless so much is left on this one.
    pub fn keep(&mut self, points: f32) {
        if self.left() < points && self.y > Sheet::MARGIN {
            self.pages.push(Vec::new());
            self.y = Sheet::MARGIN;
        }
    }

    /// A new page, unless this one is empty.
    pub fn page(&mut self) {
        self.keep(f32::INFINITY);
    }

    /// Begins a part: a rule, and a new page unless so much is left.
    pub fn part(&mut self, keep: f32) {
        self.space(6.0);
        self.keep(keep);
        self.rule(0.8, Ink::Text, self.across());
        self.y += 5.0;
    }

    /// A rule so long, from the left.
    pub fn rule(&mut self, width: f32, ink: Ink, length: f32) {
        let y = self.y;
        self.push(Mark::Line {
            from: (Sheet::MARGIN, y),
            to: (Sheet::MARGIN + length, y),
            width,
            ink,
        });
    }

    /// A mark on the present page.
    pub fn push(&mut self, mark: Mark) {
        if let Mark::Words { text, style, .. } = &mark {
            let mut missing = std::mem::take(&mut self.missing);
            self.faces.runs(text, style.bold, &mut missing);
            self.missing = missing;
        }
        if let Some(page) = self.pages.last_mut() {
            page.push(mark);
        }
    }

    /// Goes down.
    pub fn advance(&mut self, points: f32) {
        self.y += points;
    }

    /// A paragraph as wide as the page.
    pub fn words(&mut self, text: &str, style: Style, ink: Ink) {
        self.column(text, style, ink, 0.0);
    }

    /// A paragraph with a bar at its left.
    pub fn barred(&mut self, text: &str, style: Style) {
        let pages = self.pages.len();
        self.keep(2.0 * style.line());
        let top = self.y;
        self.column(text, style, Ink::Text, 8.0);
        if self.pages.len() == pages {
            let x = Sheet::MARGIN + 2.0;
            let to = (x, self.y);
            self.push(Mark::Line {
                from: (x, top + 1.0),
                to,
                width: 1.4,
                ink: Ink::Text,
            });
        }
    }

    /// A name and what it is, beside each other.
    pub fn named(&mut self, name: &str, value: &str, style: Style, names: f32) {
        self.keep(style.line());
        let y = self.y + style.ascent();
        self.push(Mark::Words {
            x: Sheet::MARGIN,
            y,
            style,
            ink: Ink::Soft,
            text: name.into(),
        });
        self.column(value, style, Ink::Text, names);
    }

    fn column(&mut self, text: &str, style: Style, ink: Ink, indent: f32) {
        for line in self.lines(text, style, self.across() - indent) {
            self.keep(style.line());
            let y = self.y + style.ascent();
            self.push(Mark::Words {
                x: Sheet::MARGIN + indent,
                y,
                style,
                ink,
                text: line,
            });
            self.y += style.line();
        }
    }

    /// A picture as wide as the page.
    pub fn picture(&mut self, drawing: &Drawing) {
        let size = drawing.printed();
        let scale = (self.across() / size.width as f32).min(0.8);
        let height = size.height as f32 * scale;
        self.keep(height + 24.0);
        self.push(Mark::Picture {
            at: (Sheet::MARGIN, self.y),
            scale,
            drawing: drawing.clone(),
            size,
        });
        self.y += height + 2.0;
    }

    /// The text broken into lines no wider than `width`: between words, and within one that is wider than a line.
    pub fn lines(&self, text: &str, style: Style, width: f32) -> Vec<String> {
        let most = width / style.size;
        let mut lines: Vec<String> = Vec::new();
        for paragraph in text.split('\n') {
            let (mut line, mut taken) = (String::new(), 0.0);
            let space = self.faces.width(" ", style.bold);
            for word in paragraph.split_whitespace() {
                let wide = self.faces.width(word, style.bold);
                if !line.is_empty() && taken + space + wide > most {
                    lines.push(std::mem::take(&mut line));
                    taken = 0.0;
                }
                if !line.is_empty() {
                    line.push(' ');
                    taken += space;
                }
                if wide <= most {
                    line.push_str(word);
                    taken += wide;
                    continue;
                }
                for character in word.chars() {
                    let wide = self
                        .faces
                        .width(character.encode_utf8(&mut [0; 4]), style.bold);
                    if taken + wide > most && !line.is_empty() {
                        lines.push(std::mem::take(&mut line));
                        taken = 0.0;
                    }
                    line.push(character);
                    taken += wide;
                }
            }
            lines.push(line);
        }
        lines
    }

    /// Which characters a stand-in was drawn for, in words.
    pub fn missing(&self) -> Option<String> {
        let names: Vec<String> = self
            .missing
            .iter()
            .take(12)
            .map(|character| format!("U+{:04X}", u32::from(*character)))
            .collect();
        let more = match self.missing.len() > names.len() {
            true => " and others",
            false => "",
        };
        (!names.is_empty()).then(|| {
            format!(
                "\u{fffd} stands for characters that the faces of this print lack: {}{more}. The page for the screen has them; \
                 a font file given with --font brings them into print.",
                names.join(", ")
            )
        })
    }
}
