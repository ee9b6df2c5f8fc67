//! A table of comma-separated values that was written to memory in, its text out.

use csv::{Terminator, Writer, WriterBuilder};
use serde::Serialize;

use crate::error::{Error, Kind, Result};

/// What is said of a table that could not be written.
pub(crate) fn no_table(error: csv::Error) -> Error {
    Error::new(Kind::Io, "the table could not be written").from_source(error)
}

/// A report's table: RFC 4180, with commas, CRLF and quotes doubled, in UTF-8. Its columns stand even when there is no row.
pub(crate) fn report_table(
    columns: &[&str],
    rows: impl Iterator<Item = impl Serialize>,
) -> Result<String> {
    let mut table = WriterBuilder::new()
        .terminator(Terminator::CRLF)
        .has_headers(false)
        .from_writer(Vec::new());
    table.write_record(columns).map_err(no_table)?;
    for row in rows {
        table.serialize(row).map_err(no_table)?;
    }
    table_text(table)
}

/// The text of a table.
pub(crate) fn table_text(table: Writer<Vec<u8>>) -> Result<String> {
    let bytes = table
        .into_inner()
        .map_err(|error| no_table(error.into_error().into()))?;
    String::from_utf8(bytes)
        .map_err(|error| Error::new(Kind::Io, "the table is no UTF-8").from_source(error))
}
