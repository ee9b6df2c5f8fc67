//! BYTES in, chunks and sample values out: RIFF, RF64 and BW64 wave files and the chunks that matter.
