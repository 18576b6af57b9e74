//! The local web page: a shell beside the command line, for a browser on this machine.
//!
//! `guard` decides who is answered, `body` takes in what is sent, `assets` gives the page out. `home`
//! answers the person who checks a reach, with a `diary` on the disk and `framing` while the camera
//! runs; `review` the clinician who looks through the `visits` that are open, `comparison` whoever
//! compares them; `case` and `plan` whoever screens a person and approves their exercises.
//!
//! Photos and looks lie in memory alone, unless a visit is filed in the case. Nothing that a browser
//! sends is a path: what is on the disk are the folders named at the start, their records, what the
//! case keeps, and the diary.

mod answer;
mod assets;
mod body;
mod case;
mod comparison;
mod diary;
mod framing;
mod guard;
mod home;
mod picture;
mod plan;
mod review;
mod visits;

use std::io;
use std::net::{Ipv4Addr, TcpListener};
use std::path::PathBuf;
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};
use std::time::Duration;

use axum::Router;
use axum::middleware::from_fn_with_state;
use axum::routing::{delete, get, post, put};
use jiff::civil::{Date, DateTime};
use thiserror::Error;
use tokio::sync::Semaphore;

use self::answer::{Answer, Trouble};
use self::case::ReadBefore;
use self::comparison::Reports;
use self::diary::Diary;
use self::guard::Guard;
use self::home::Checks;
use self::visits::Visits;
use crate::case::{Case, CaseError};
use crate::infer::Finder;

pub use self::visits::VisitFolder;

/// What a server is started with.
pub struct Setup {
    pub finder: Arc<Finder>,
    /// Folders to review.
    pub visits: Vec<VisitFolder>,
    /// The folder of one person's case, where one is open. Its visits are among those above.
    pub case: Option<PathBuf>,
    /// Where the diary of the self-check lies, or will lie.
    pub diary: PathBuf,
    /// 0 takes any that is free.
    pub port: u16,
    /// The day and time on this machine's clock.
    pub now: fn() -> DateTime,
}

/// A server that has its port and is not running so far.
pub struct Server {
    listener: TcpListener,
    guard: Guard,
    token: String,
    shared: Arc<Shared>,
}

/// What all requests share. Locks are taken for moments, but that of the nets; whoever holds that
/// one may take the others.
struct Shared {
    /// The nets look at one photo at a time: each look keeps all cores busy.
    finder: Mutex<Arc<Finder>>,
    visits: Mutex<Visits>,
    checks: Mutex<Checks>,
    reports: Mutex<Reports>,
    read_before: Mutex<ReadBefore>,
    diary: Diary,
    /// Places for photos that are on their way or being looked at.
    uploads: Arc<Semaphore>,
    now: fn() -> DateTime,
}

const UPLOADS_AT_ONCE: usize = 3;
/// How long answers under way may take once the program is told to end; a save takes a moment.
const LAST_ANSWERS: Duration = Duration::from_secs(5);
/// How soon a second Ctrl-C has to follow to end the program in spite of what is not saved.
const AGAIN_WITHIN: Duration = Duration::from_secs(10);

/// Why there is no page.
#[derive(Debug, Error)]
#[non_exhaustive]
pub enum BindError {
    #[error(transparent)]
    Port(#[from] io::Error),
    #[error(transparent)]
    Case(#[from] CaseError),
}

impl Server {
    /// Takes the port, on this machine alone.
    pub fn bind(setup: Setup) -> Result<Server, BindError> {
        let listener = TcpListener::bind((Ipv4Addr::LOCALHOST, setup.port))?;
        let (guard, token) = Guard::new(listener.local_addr()?.port()).map_err(io::Error::from)?;
        let case = setup.case.as_deref().map(Case::open).transpose()?;
        let visits = Visits::of_folders(setup.visits, case)?;
        Ok(Server {
            listener,
            guard,
            token,
            shared: Arc::new(Shared {
                finder: Mutex::new(setup.finder),
                visits: Mutex::new(visits),
                checks: Mutex::default(),
                reports: Mutex::default(),
                read_before: Mutex::default(),
                diary: Diary::at(setup.diary),
                uploads: Arc::new(Semaphore::new(UPLOADS_AT_ONCE)),
                now: setup.now,
            }),
        })
    }

    /// The address that opens the page, once.
    pub fn address(&self) -> io::Result<String> {
        let at = self.listener.local_addr()?;
        Ok(format!("http://{at}/open/{}", self.token))
    }

    /// What is wrong with the diary, in words, where it can't be read.
    pub fn diary_trouble(&self) -> Option<String> {
        let trouble = self.shared.diary.read().err()?;
        Some(format!("{} {}", trouble.error(), trouble.hint()))
    }

    /// What answers, guard and all, for who asks without a socket.
    pub fn router(self) -> Router {
        router(self.shared, Arc::new(self.guard))
    }

    /// Answers until the program is told to end, then finishes what is under way. `tell` says to
    /// whoever ends it what is not saved.
    pub fn run(self, tell: impl Fn(&str) + Send + 'static) -> io::Result<()> {
        let shared = self.shared.clone();
        self.run_until(async move { told_to_end(&shared, tell).await })
    }

    /// Answers until `end` comes, then finishes what is under way.
    pub fn run_until(self, end: impl Future<Output = ()> + Send + 'static) -> io::Result<()> {
        let runtime = tokio::runtime::Builder::new_current_thread()
            .enable_all()
            .build()?;
        let ended = Arc::new(tokio::sync::Notify::new());
        let tell = ended.clone();
        let outcome = runtime.block_on(async {
            self.listener.set_nonblocking(true)?;
            let listener = tokio::net::TcpListener::from_std(self.listener)?;
            let router = router(self.shared, Arc::new(self.guard));
            let serving = axum::serve(listener, router).with_graceful_shutdown(async move {
                end.await;
                tell.notify_one();
            });
            let serving = tokio::spawn(serving.into_future());
            ended.notified().await;
            // A browser may keep a connection open for long.
            match tokio::time::timeout(LAST_ANSWERS, serving).await {
                Ok(served) => served.map_err(io::Error::other)?,
                Err(_) => Ok(()),
            }
        });
        runtime.shutdown_timeout(LAST_ANSWERS);
        outcome
    }
}

/// Waits for Ctrl-C, or for what a system sends to programs before it goes down. With visits that
/// are not saved a first Ctrl-C only says so; nobody is asked by a system that goes down.
async fn told_to_end(shared: &Shared, tell: impl Fn(&str)) {
    let unsaved = || lock(&shared.visits).unsaved().join("; ");
    loop {
        let interrupted = ending().await;
        let visits = unsaved();
        if !visits.is_empty() && interrupted {
            tell(&format!(
                "Not saved so far: {visits}. The page goes on, so that they can be saved there. To \
                 end without saving, press Ctrl-C again within {} seconds.",
                AGAIN_WITHIN.as_secs()
            ));
            if tokio::time::timeout(AGAIN_WITHIN, ending()).await.is_err() {
                continue;
            }
        }
        let visits = unsaved();
        if !visits.is_empty() {
            tell(&format!("Ended without saving: {visits}."));
        }
        return;
    }
}

/// Resolves when the program is told to end; whether a person did, by Ctrl-C.
async fn ending() -> bool {
    #[cfg(unix)]
    let terminated = async {
        use tokio::signal::unix::{SignalKind, signal};
        match signal(SignalKind::terminate()) {
            Ok(mut terminated) => terminated.recv().await,
            Err(_) => std::future::pending().await,
        }
    };
    #[cfg(not(unix))]
    let terminated = std::future::pending::<Option<()>>();
    tokio::select! {
        // Where the system can't tell, the program ends the hard way.
        Ok(()) = tokio::signal::ctrl_c() => true,
        _ = terminated => false,
    }
}

fn router(shared: Arc<Shared>, guard: Arc<Guard>) -> Router {
    let opening = Router::new()
        .route("/open/{token}", get(guard::open))
        .with_state(guard.clone());
    Router::new()
        .route("/", get(assets::front))
        .route("/page/{file}", get(assets::file))
        .route("/api/home", get(home::home))
        .route("/api/home/person", put(home::keep_person))
        .route("/api/checks", post(home::check))
        .route("/api/checks/{check}/picture", get(home::picture))
        .route("/api/framing", post(framing::framing))
        .route("/api/diary", get(home::diary).post(home::keep_check))
        .route("/api/diary/{entry}", delete(home::forget))
        .route("/api/visits", get(review::visits).post(review::begin))
        .route("/api/visits/{visit}", get(review::visit))
        .route("/api/visits/{visit}/facts", put(review::learn))
        .route("/api/visits/{visit}/photos", post(review::add_photo))
        .route(
            "/api/visits/{visit}/photos/{photo}/picture",
            get(review::picture),
        )
        .route("/api/visits/{visit}/edits", post(review::edit))
        .route("/api/visits/{visit}/save", post(review::save))
        .route("/api/visits/{visit}/file", post(review::file))
        .route("/api/case", get(case::case))
        .route(
            "/api/case/screening",
            get(case::screening).post(case::keep_screening),
        )
        .route("/api/case/plan", get(plan::plan).post(plan::make))
        .route("/api/case/sheets/{sheet}", get(plan::sheet))
        .route("/api/comparisons", post(comparison::compare))
        .route("/api/comparisons/{report}", get(comparison::report))
        .fallback(async || Trouble::gone("page"))
        .with_state(shared)
        .merge(opening)
        .layer(from_fn_with_state(guard, guard::admit))
}

impl Shared {
    /// Does what takes time or the disk on a thread of its own, so that others are answered.
    async fn work(
        self: Arc<Self>,
        work: impl FnOnce(&Shared) -> Answer + Send + 'static,
    ) -> Answer {
        tokio::task::spawn_blocking(move || work(&self))
            .await
            .unwrap_or_else(|error| Err(Trouble::fault(error)))
    }

    fn today(&self) -> Date {
        (self.now)().date()
    }
}

/// A lock that a panic elsewhere does not take from everybody: each change behind one is made whole
/// or not at all.
fn lock<T>(mutex: &Mutex<T>) -> MutexGuard<'_, T> {
    mutex.lock().unwrap_or_else(PoisonError::into_inner)
}
