//! A table of comma-separated values that was written to memory in, its text out.

use csv::Writer;

use crate::error::{Error, Kind, Result};

/// What is said of a table that could not be written.
pub(crate) fn no_table(error: csv::Error) -> Error {
    Error::new(Kind::Io, "the table could not be written").from_source(error)
}

/// The text of a table.
pub(crate) fn table_text(table: Writer<Vec<u8>>) -> Result<String> {
    let bytes = table
        .into_inner()
        .map_err(|error| no_table(error.into_error().into()))?;
    String::from_utf8(bytes)
        .map_err(|error| Error::new(Kind::Io, "the table is no UTF-8").from_source(error))
}
