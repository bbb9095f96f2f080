//! # Connections
//!
//! Which there are, and which one goes when there are too many: the one on which nothing has happened for longest, of the
//! client that has most of them. One client has half of them at most. A connection whose request is worked on stays.

use std::collections::HashMap;
use std::io::IoSlice;
use std::pin::Pin;
use std::sync::atomic::{AtomicU64, AtomicUsize, Ordering};
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};
use std::task::{Context, Poll};
use std::time::Duration;

use tokio::io::{self, AsyncRead, AsyncWrite, ReadBuf};
use tokio::sync::Notify;
use tokio::time::{Instant, Sleep, sleep};

use crate::client::Client;
use crate::limits::time_for;

/// For an answer of no length to be read by its client.
pub const TO_READ: Duration = Duration::from_secs(10);

/// All connections.
#[derive(Debug)]
pub struct Connections {
    most: usize,
    state: Mutex<State>,
    ended: Notify,
}

#[derive(Debug, Default)]
struct State {
    next: u64,
    lines: HashMap<u64, Arc<Line>>,
}

/// What is known of a connection.
#[derive(Debug)]
pub struct Line {
    client: Client,
    /// A proxy speaks for many: its connections are all that there are.
    proxy: bool,
    began: Instant,
    /// When a byte came or went, in milliseconds since it began.
    last: AtomicU64,
    working: AtomicUsize,
    uploads: AtomicUsize,
    answers: AtomicU64,
    close: Notify,
}

impl Line {
    fn touch(&self) {
        let millis = u64::try_from(self.began.elapsed().as_millis()).unwrap_or(u64::MAX);
        self.last.store(millis, Ordering::Relaxed);
    }

    fn last(&self) -> Instant {
        self.began + Duration::from_millis(self.last.load(Ordering::Relaxed))
    }

    /// Whether a request of it is worked on.
    pub fn is_working(&self) -> bool {
        self.working.load(Ordering::Relaxed) > 0
    }

    /// Says that a request of it is worked on, until what it gives is dropped.
    pub fn work(self: &Arc<Self>) -> Working {
        self.working.fetch_add(1, Ordering::Relaxed);
        Working(Arc::clone(self))
    }

    /// Whether a file of any length comes on it.
    pub fn is_uploading(&self) -> bool {
        self.uploads.load(Ordering::Relaxed) > 0
    }

    /// Says that a file of any length comes on it, until what it gives is dropped.
    pub fn upload(self: &Arc<Self>) -> Uploading {
        self.uploads.fetch_add(1, Ordering::Relaxed);
        Uploading(self.work())
    }

    /// Says that an answer is made: from now on the client has its time to read it.
    pub fn answer(&self) {
        self.answers.fetch_add(1, Ordering::Relaxed);
    }

    /// Done when it has to make room.
    pub async fn closed(&self) {
        self.close.notified().await;
    }
}

/// A request is worked on.
#[derive(Debug)]
pub struct Working(Arc<Line>);

impl Drop for Working {
    fn drop(&mut self) {
        self.0.working.fetch_sub(1, Ordering::Relaxed);
        self.0.touch();
    }
}

/// A file of any length comes.
#[derive(Debug)]
pub struct Uploading(Working);

impl Drop for Uploading {
    fn drop(&mut self) {
        self.0.0.uploads.fetch_sub(1, Ordering::Relaxed);
    }
}

/// A connection among the others, until it is dropped.
#[derive(Debug)]
pub struct Place {
    all: Arc<Connections>,
    number: u64,
    /// The connection.
    pub line: Arc<Line>,
}

impl Drop for Place {
    fn drop(&mut self) {
        self.all.state().lines.remove(&self.number);
        self.all.ended.notify_one();
    }
}

impl Connections {
    /// None yet, and so many at most.
    pub fn new(most: usize) -> Arc<Self> {
        Arc::new(Self { most: most.max(1), state: Mutex::default(), ended: Notify::new() })
    }

    fn state(&self) -> MutexGuard<'_, State> {
        // Nothing in here panics between two changes that belong together.
        self.state.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// Takes one more in; nothing where all that could make room are worked on.
    pub fn admit(self: &Arc<Self>, client: Client, proxy: bool) -> Option<Place> {
        let mut state = self.state();
        let own = state.lines.values().filter(|line| line.client == client && !line.proxy).count();
        if !proxy && own >= self.most.div_ceil(2) {
            state.make_room(client)?;
        } else if state.lines.len() >= self.most {
            let client = state.greatest()?;
            state.make_room(client)?;
        }
        let number = state.next;
        state.next += 1;
        let line = Arc::new(Line {
            client,
            proxy,
            began: Instant::now(),
            last: AtomicU64::new(0),
            working: AtomicUsize::new(0),
            uploads: AtomicUsize::new(0),
            answers: AtomicU64::new(0),
            close: Notify::new(),
        });
        state.lines.insert(number, Arc::clone(&line));
        Some(Place { all: Arc::clone(self), number, line })
    }

    /// How many there are.
    pub fn count(&self) -> usize {
        self.state().lines.len()
    }

    /// Done when there are none.
    pub async fn gone(&self) {
        while self.count() > 0 {
            self.ended.notified().await;
        }
    }
}

impl State {
    /// The client that has most of those that could make room.
    fn greatest(&self) -> Option<Client> {
        let mut counts: HashMap<Client, usize> = HashMap::new();
        for line in self.lines.values().filter(|line| !line.is_working()) {
            *counts.entry(line.client).or_default() += 1;
        }
        counts.into_iter().max_by_key(|(client, count)| (*count, *client)).map(|(client, _)| client)
    }

    /// Lets the connection of a client go on which nothing has happened for longest.
    fn make_room(&mut self, client: Client) -> Option<()> {
        let idle = self.lines.iter().filter(|(_, line)| line.client == client && !line.is_working());
        let number = *idle.min_by_key(|(number, line)| (line.last(), **number))?.0;
        self.lines.remove(&number)?.close.notify_one();
        Some(())
    }
}

/// A connection whose client has to read: who takes too long for an answer is cut off.
#[derive(Debug)]
pub struct Paced<S> {
    stream: S,
    line: Arc<Line>,
    first: Duration,
    answer: u64,
    began: Instant,
    written: u64,
    alarm: Pin<Box<Sleep>>,
}

impl<S> Paced<S> {
    /// The stream of a connection, and what its client has to read an answer of no length.
    pub fn new(stream: S, line: Arc<Line>, first: Duration) -> Self {
        Self { stream, line, first, answer: 0, began: Instant::now(), written: 0, alarm: Box::pin(sleep(first)) }
    }

    fn paced(
        &mut self,
        cx: &mut Context<'_>,
        write: impl FnOnce(&mut S, &mut Context<'_>) -> Poll<io::Result<usize>>,
    ) -> Poll<io::Result<usize>> {
        let answer = self.line.answers.load(Ordering::Relaxed);
        if self.answer != answer {
            (self.answer, self.began, self.written) = (answer, Instant::now(), 0);
        }
        match write(&mut self.stream, cx) {
            Poll::Ready(done) => {
                if let Ok(bytes) = &done {
                    self.written += *bytes as u64;
                    self.line.touch();
                }
                Poll::Ready(done)
            }
            Poll::Pending => {
                self.alarm.as_mut().reset(self.began + time_for(self.first, self.written));
                self.alarm.as_mut().poll(cx).map(|()| Err(io::ErrorKind::TimedOut.into()))
            }
        }
    }
}

impl<S: AsyncRead + Unpin> AsyncRead for Paced<S> {
    fn poll_read(mut self: Pin<&mut Self>, cx: &mut Context<'_>, into: &mut ReadBuf<'_>) -> Poll<io::Result<()>> {
        let before = into.filled().len();
        let read = Pin::new(&mut self.stream).poll_read(cx, into);
        if into.filled().len() > before {
            self.line.touch();
        }
        read
    }
}

impl<S: AsyncWrite + Unpin> AsyncWrite for Paced<S> {
    fn poll_write(mut self: Pin<&mut Self>, cx: &mut Context<'_>, bytes: &[u8]) -> Poll<io::Result<usize>> {
        self.paced(cx, |stream, cx| Pin::new(stream).poll_write(cx, bytes))
    }

    fn poll_write_vectored(
        mut self: Pin<&mut Self>,
        cx: &mut Context<'_>,
        bytes: &[IoSlice<'_>],
    ) -> Poll<io::Result<usize>> {
        self.paced(cx, |stream, cx| Pin::new(stream).poll_write_vectored(cx, bytes))
    }

    fn is_write_vectored(&self) -> bool {
        self.stream.is_write_vectored()
    }

    fn poll_flush(mut self: Pin<&mut Self>, cx: &mut Context<'_>) -> Poll<io::Result<()>> {
        Pin::new(&mut self.stream).poll_flush(cx)
    }

    fn poll_shutdown(mut self: Pin<&mut Self>, cx: &mut Context<'_>) -> Poll<io::Result<()>> {
        Pin::new(&mut self.stream).poll_shutdown(cx)
    }
}

#[cfg(test)]
mod tests {
    use std::net::IpAddr;

    use axum::http::HeaderMap;
    use tokio::io::{AsyncReadExt, AsyncWriteExt, duplex};
    use tokio::time::timeout;

    use super::*;
    use crate::client::Peer;

    fn client(last: u8) -> Client {
        Client::of(Some(Peer(IpAddr::from([192, 0, 2, last]))), &HeaderMap::new(), &[])
    }

    fn left(all: &Connections) -> Vec<u64> {
        let mut numbers: Vec<u64> = all.state().lines.keys().copied().collect();
        numbers.sort_unstable();
        numbers
    }

    #[tokio::test]
    async fn the_longest_idle_goes_and_one_client_has_half() {
        let all = Connections::new(4);
        let own: Vec<Place> = (0..2).filter_map(|_| all.admit(client(1), false)).collect();
        let working = own[0].line.work();
        let third = all.admit(client(1), false).expect("its second one makes room");
        own[1].line.closed().await;
        assert_eq!(left(&all), [0, 2]);
        let also = third.line.work();
        assert!(all.admit(client(1), false).is_none(), "both of its half are worked on");
        let others: Vec<Place> = (2..4).filter_map(|last| all.admit(client(last), false)).collect();
        drop((working, also));
        let last = all.admit(client(5), false).expect("who has most makes room");
        assert_eq!(left(&all), [2, 3, 4, 5]);
        assert!(all.admit(client(6), true).is_some(), "and again");
        drop((own, third, others, last));
        timeout(Duration::from_secs(1), all.gone()).await.expect("all have ended");
    }

    #[tokio::test]
    async fn who_does_not_read_is_cut_off_and_who_reads_slowly_is_not() {
        let line = || Connections::new(1).admit(client(1), false).expect("a place").line.clone();
        let (near, _far) = duplex(1_024);
        let short = Duration::from_millis(300);
        let mut stuck = Paced::new(near, line(), short);
        stuck.line.answer();
        let began = Instant::now();
        let cut = stuck.write_all(&[0; 4_096]).await.expect_err("nobody reads");
        assert_eq!(cut.kind(), io::ErrorKind::TimedOut);
        assert!(began.elapsed() >= short && began.elapsed() < Duration::from_secs(5), "{:?}", began.elapsed());

        let (near, mut far) = duplex(64 * 1_024);
        let reader = tokio::spawn(async move {
            let mut part = vec![0; 64 * 1_024];
            while far.read(&mut part).await.is_ok_and(|bytes| bytes > 0) {
                sleep(Duration::from_millis(700)).await;
            }
        });
        let mut slow = Paced::new(near, line(), short);
        slow.line.answer();
        slow.write_all(&vec![0; 256 << 10]).await.expect("it is read");
        drop(slow);
        reader.await.expect("no panic");
    }
}
