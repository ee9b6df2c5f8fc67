//! Everything in, one self-contained page out.
