//! A place in, bytes out: positional reading of files and memory, from many threads at once, without a cursor.

use std::fs::File;
use std::io;
use std::sync::Arc;

/// Bytes that can be read from any place, by any number of threads at once.
pub trait ReadAt: Send + Sync {
    /// Reads up to `buf.len()` bytes from byte `offset` on and says how many; fewer than asked is no error, 0 is the
    /// end.
    ///
    /// # Errors
    /// Whatever the medium reports.
    fn read_at(&self, buf: &mut [u8], offset: u64) -> io::Result<usize>;

    /// The size in bytes.
    ///
    /// # Errors
    /// Whatever the medium reports.
    fn size(&self) -> io::Result<u64>;
}

/// Fills `buf` from byte `offset` on, however the source splits its answers.
///
/// # Errors
/// `UnexpectedEof` when the source ends first, else whatever the medium reports.
pub fn read_exact_at(
    source: &(impl ReadAt + ?Sized),
    mut buf: &mut [u8],
    mut offset: u64,
) -> io::Result<()> {
    while !buf.is_empty() {
        match source.read_at(buf, offset) {
            Ok(0) => {
                return Err(io::Error::new(
                    io::ErrorKind::UnexpectedEof,
                    format!(
                        "the source ends at byte {offset}, {} bytes short",
                        buf.len()
                    ),
                ));
            }
            Ok(n) => {
                buf = buf.get_mut(n..).unwrap_or_default();
                offset = offset.saturating_add(n as u64);
            }
            Err(error) if error.kind() == io::ErrorKind::Interrupted => {}
            Err(error) => return Err(error),
        }
    }
    Ok(())
}

impl ReadAt for File {
    #[cfg(unix)]
    fn read_at(&self, buf: &mut [u8], offset: u64) -> io::Result<usize> {
        std::os::unix::fs::FileExt::read_at(self, buf, offset)
    }

    #[cfg(windows)]
    fn read_at(&self, buf: &mut [u8], offset: u64) -> io::Result<usize> {
        std::os::windows::fs::FileExt::seek_read(self, buf, offset)
    }

    fn size(&self) -> io::Result<u64> {
        Ok(self.metadata()?.len())
    }
}

impl ReadAt for [u8] {
    fn read_at(&self, buf: &mut [u8], offset: u64) -> io::Result<usize> {
        let rest = usize::try_from(offset)
            .ok()
            .and_then(|at| self.get(at..))
            .unwrap_or_default();
        let n = rest.len().min(buf.len());
        buf[..n].copy_from_slice(&rest[..n]);
        Ok(n)
    }

    fn size(&self) -> io::Result<u64> {
        Ok(self.len() as u64)
    }
}

impl ReadAt for Vec<u8> {
    fn read_at(&self, buf: &mut [u8], offset: u64) -> io::Result<usize> {
        self.as_slice().read_at(buf, offset)
    }

    fn size(&self) -> io::Result<u64> {
        Ok(self.len() as u64)
    }
}

impl<T: ReadAt + ?Sized> ReadAt for &T {
    fn read_at(&self, buf: &mut [u8], offset: u64) -> io::Result<usize> {
        (**self).read_at(buf, offset)
    }

    fn size(&self) -> io::Result<u64> {
        (**self).size()
    }
}

impl<T: ReadAt + ?Sized> ReadAt for Arc<T> {
    fn read_at(&self, buf: &mut [u8], offset: u64) -> io::Result<usize> {
        (**self).read_at(buf, offset)
    }

    fn size(&self) -> io::Result<u64> {
        (**self).size()
    }
}

impl<T: ReadAt + ?Sized> ReadAt for Box<T> {
    fn read_at(&self, buf: &mut [u8], offset: u64) -> io::Result<usize> {
        (**self).read_at(buf, offset)
    }

    fn size(&self) -> io::Result<u64> {
        (**self).size()
    }
}
