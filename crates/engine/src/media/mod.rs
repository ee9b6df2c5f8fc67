//! The only door to the disk: folders listed, files opened for reading, never for writing.
