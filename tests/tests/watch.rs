//! `watch` against the simulated logger on a virtual port, with wrong fits planted: the terminal
//! names them, and what the checks came to goes into the site file and from there into the logger.
#![cfg(unix)]

use pumpwitness_local_page::practice::Practice;
use pumpwitness_tests::run;
use pumpwitness_virtual_logger::port::Plugged;
use std::fs;

/// Looks for some seconds; gives what was printed.
fn watched(folder: &std::path::Path, port: &str) -> String {
    let watch = ["watch", "--site", "site.toml", "--port", port, "--seconds", "8", "--keep-checks"];
    run(folder, &watch).fine()
}

#[test]
fn wrong_fits_are_named_in_the_terminal_and_kept_for_arming() {
    let folder = tempfile::tempdir().unwrap();
    let site = folder.path().join("site.toml");
    fs::write(&site, Practice::site_toml()).unwrap();
    let practice = Practice::begin().unwrap();
    let handle = practice.handle();
    let plug = Plugged::new(handle.logger(), None).unwrap();
    let port = plug.path();
    assert!(handle.plant("voltage-sense-off", true));
    let said = watched(folder.path(), port);
    assert!(said.contains("[BAD ] Transducer's wire: The loop carries 0.00 mA."), "{said}");
    assert!(said.contains("[BAD ] Voltage sense"), "{said}");
    assert!(said.contains("This reading proves nothing dead"), "{said}");

    assert!(handle.plant("voltage-sense-off", false) && handle.plant("loop-open", false));
    let said = watched(folder.path(), port);
    assert!(said.contains("[good] Transducer's wire"), "{said}");
    assert!(said.contains("[good] Voltage sense"), "{said}");
    let kept = pumpwitness_site_file::parse(&fs::read_to_string(&site).unwrap()).unwrap();
    assert!(kept.fit.checks.as_deref().unwrap().contains("14 fit checks good"), "{kept:?}");

    let arm = ["arm", "--site", "site.toml", "--port", port, "--keep-clock"];
    assert!(run(folder.path(), &arm).fine().contains("armed for Practice site"));
    let line = pumpwitness_link::SerialLine::open(port).unwrap();
    let mut client = pumpwitness_link::Client::new(line, pumpwitness_link::Limits::default());
    let text = client.site_text().unwrap();
    assert!(String::from_utf8(text.to_vec()).unwrap().contains("checks = \""));
}
