//! A file's bytes for the JPEG decoder.
//!
//! The decoder takes four bytes at a time, some thirty thousand times a frame. Its own reader copies as many as there are left,
//! so that each time costs a call; this one looks first whether all are there, and the copy becomes one load.

use zune_core::bytestream::{ZByteIoError, ZByteReaderTrait, ZSeekFrom};

/// Bytes, and how many of them were read.
pub(super) struct Octets<'a> {
    all: &'a [u8],
    /// May lie beyond the end.
    place: usize,
}

impl<'a> Octets<'a> {
    pub(super) const fn new(all: &'a [u8]) -> Self {
        Self { all, place: 0 }
    }

    fn left(&self) -> &'a [u8] {
        self.all.get(self.place..).unwrap_or_default()
    }

    fn go_on(&mut self, count: usize) {
        self.place = self.place.saturating_add(count);
    }
}

impl ZByteReaderTrait for Octets<'_> {
    #[inline(always)]
    fn read_byte_no_error(&mut self) -> u8 {
        let Some(&byte) = self.all.get(self.place) else {
            return 0;
        };
        self.go_on(1);
        byte
    }

    #[inline(always)]
    fn read_exact_bytes(&mut self, to: &mut [u8]) -> Result<(), ZByteIoError> {
        self.peek_exact_bytes(to)?;
        self.go_on(to.len());
        Ok(())
    }

    fn read_bytes(&mut self, to: &mut [u8]) -> Result<usize, ZByteIoError> {
        let count = self.peek_bytes(to)?;
        self.go_on(count);
        Ok(count)
    }

    fn peek_bytes(&mut self, to: &mut [u8]) -> Result<usize, ZByteIoError> {
        let left = self.left();
        let count = left.len().min(to.len());
        to[..count].copy_from_slice(&left[..count]);
        Ok(count)
    }

    #[inline(always)]
    fn peek_exact_bytes(&mut self, to: &mut [u8]) -> Result<(), ZByteIoError> {
        let left = self.left();
        let Some(bytes) = left.get(..to.len()) else {
            return Err(ZByteIoError::NotEnoughBytes(left.len(), to.len()));
        };
        to.copy_from_slice(bytes);
        Ok(())
    }

    #[inline(always)]
    fn z_seek(&mut self, to: ZSeekFrom) -> Result<u64, ZByteIoError> {
        let from = |base: usize, by: i64| base.checked_add_signed(isize::try_from(by).ok()?);
        let place = match to {
            ZSeekFrom::Start(place) => usize::try_from(place).ok(),
            ZSeekFrom::End(by) => from(self.all.len(), by),
            ZSeekFrom::Current(by) => from(self.place, by),
        };
        self.place = place.ok_or(ZByteIoError::SeekError("there is no such place"))?;
        Ok(self.place as u64)
    }

    #[inline(always)]
    fn is_eof(&mut self) -> Result<bool, ZByteIoError> {
        Ok(self.left().is_empty())
    }

    fn z_position(&mut self) -> Result<u64, ZByteIoError> {
        Ok(self.place as u64)
    }

    fn read_remaining(&mut self, to: &mut Vec<u8>) -> Result<usize, ZByteIoError> {
        let left = self.left();
        to.extend_from_slice(left);
        self.go_on(left.len());
        Ok(left.len())
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use zune_core::bytestream::ZCursor;

    /// What the decoder's own reader does is what this one does, at the end and beyond it, too.
    #[test]
    fn reads_as_the_decoders_own_reader() {
        let bytes: Vec<u8> = (1..=11).collect();
        let mut ours = Octets::new(&bytes);
        let mut own = ZCursor::new(&bytes);
        for step in [2_i64, -1, 3, 0, -4, 9, 1, -12, 30, -29, 7] {
            let mut four = ([0; 4], [0; 4]);
            let all = ours.read_exact_bytes(&mut four.0).is_ok();
            assert_eq!(all, own.read_exact_bytes(&mut four.1).is_ok());
            assert!(!all || four.0 == four.1);
            assert_eq!(ours.read_byte_no_error(), own.read_byte_no_error());
            let (mut some, mut same) = ([0; 3], [0; 3]);
            assert_eq!(
                ours.read_bytes(&mut some).ok(),
                own.read_bytes(&mut same).ok()
            );
            assert_eq!(some, same);
            let to = || ZSeekFrom::Current(step);
            assert_eq!(ours.z_seek(to()).ok(), own.z_seek(to()).ok());
            assert_eq!(ours.is_eof().ok(), own.is_eof().ok());
            assert_eq!(ours.z_position().ok(), own.z_position().ok());
        }
        assert!(ours.z_seek(ZSeekFrom::End(-12)).is_err());
    }
}
