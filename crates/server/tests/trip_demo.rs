//! The demo's trips.
#![allow(clippy::unwrap_used, reason = "a test may stop at once")]

mod trip_support;

use trip_support::*;

#[tokio::test]
async fn look() {
    for request in [t1(), t2()] {
        let begun = std::time::Instant::now();
        let service = Fleet::demo().service();
        let loaded = begun.elapsed();
        let plan = plan_on(&service, request).await.unwrap();
        println!("{loaded:?} {:?}\n{}", begun.elapsed() - loaded, show(&plan));
    }
}
