//! # The stream of a connection
//!
//! The library that speaks HTTP learns that a client has left when it reads, and it does not read while it has a further
//! request already. So who asks twice at once and leaves would be worked for to the end: the stream is watched besides.

use std::io::IoSlice;
use std::pin::Pin;
use std::sync::Arc;
use std::task::{Context, Poll, ready};

use tokio::io::{self, AsyncRead, AsyncWrite, ReadBuf};
use tokio::net::TcpStream;
use tokio::time::sleep;

use crate::connections::Line;
use crate::limits::PAUSE;

/// A stream that can be watched while it is read and written.
#[derive(Clone, Debug)]
pub struct Shared(Arc<TcpStream>);

impl Shared {
    /// Of this stream.
    pub fn new(stream: TcpStream) -> Self {
        Self(Arc::new(stream))
    }

    /// Done when the client says nothing more and a request of it is still worked on a moment later.
    pub async fn left(self, line: &Line) {
        #[cfg(target_os = "linux")]
        let closed = self.0.ready(io::Interest::PRIORITY).await;
        #[cfg(not(target_os = "linux"))]
        let closed = std::future::pending::<io::Result<io::Ready>>().await;
        if closed.is_err() {
            return;
        }
        // What it asked before it left may not be begun yet.
        loop {
            sleep(PAUSE).await;
            if line.is_working() {
                return;
            }
        }
    }
}

impl AsyncRead for Shared {
    fn poll_read(self: Pin<&mut Self>, cx: &mut Context<'_>, buffer: &mut ReadBuf<'_>) -> Poll<io::Result<()>> {
        loop {
            ready!(self.0.poll_read_ready(cx))?;
            match self.0.try_read(buffer.initialize_unfilled()) {
                Ok(bytes) => {
                    buffer.advance(bytes);
                    return Poll::Ready(Ok(()));
                }
                Err(fault) if fault.kind() == io::ErrorKind::WouldBlock => {}
                Err(fault) => return Poll::Ready(Err(fault)),
            }
        }
    }
}

impl Shared {
    fn poll_with(&self, cx: &mut Context<'_>, write: impl Fn() -> io::Result<usize>) -> Poll<io::Result<usize>> {
        loop {
            ready!(self.0.poll_write_ready(cx))?;
            match write() {
                Err(fault) if fault.kind() == io::ErrorKind::WouldBlock => {}
                done => return Poll::Ready(done),
            }
        }
    }
}

impl AsyncWrite for Shared {
    fn poll_write(self: Pin<&mut Self>, cx: &mut Context<'_>, bytes: &[u8]) -> Poll<io::Result<usize>> {
        self.poll_with(cx, || self.0.try_write(bytes))
    }

    fn poll_write_vectored(
        self: Pin<&mut Self>,
        cx: &mut Context<'_>,
        pieces: &[IoSlice<'_>],
    ) -> Poll<io::Result<usize>> {
        self.poll_with(cx, || self.0.try_write_vectored(pieces))
    }

    fn is_write_vectored(&self) -> bool {
        true
    }

    fn poll_flush(self: Pin<&mut Self>, _: &mut Context<'_>) -> Poll<io::Result<()>> {
        Poll::Ready(Ok(()))
    }

    /// It is closed when it is dropped, which follows at once.
    fn poll_shutdown(self: Pin<&mut Self>, _: &mut Context<'_>) -> Poll<io::Result<()>> {
        Poll::Ready(Ok(()))
    }
}
