//! The page's server, asked over HTTP: who is let in, what is given, what becomes of the recipe.

use std::fs;

use contactstrip::domain::Phase;
use contactstrip::strip::Recipe;
use serde_json::{Value, json};

use super::client::Served;
use super::desk::Desk;

/// Numbers of frames in a list of a recipe.
fn numbers(list: &Value) -> Vec<usize> {
    serde_json::from_value(list.clone()).unwrap()
}

fn recipe(desk: &Desk, file: &str) -> Recipe {
    Recipe::parse(&desk.read(file), &desk.catalogue()).unwrap()
}

#[test]
fn only_the_persons_own_page_is_let_in() {
    let desk = Desk::new();
    let served = Served::of(&desk);
    let (host, root) = (served.host.clone(), served.root.clone());
    assert!(
        host.starts_with("127.0.0.1:") && root.len() == 34,
        "{host}{root}"
    );
    let own = format!("http://{host}");
    let port = host.split_once(':').unwrap().1;
    let with = |method: &str, path: &str, headers: &[(&str, &str)]| {
        served.send(method, path, headers, "").status
    };
    let card = format!("{root}card");
    // By its own names, with and without what browsers add.
    assert_eq!(with("GET", &card, &[("Host", &host)]), 200);
    assert_eq!(
        with("GET", &card, &[("Host", &format!("localhost:{port}"))]),
        200
    );
    assert_eq!(
        with(
            "GET",
            &card,
            &[
                ("Host", &host),
                ("Origin", &own),
                ("Sec-Fetch-Site", "same-origin")
            ]
        ),
        200
    );
    // Another name that leads here, another page, no name at all.
    for headers in [
        vec![("Host", "eclipse.example")],
        vec![("Host", "127.0.0.1")],
        vec![],
        vec![
            ("Host", host.as_str()),
            ("Origin", "http://eclipse.example"),
        ],
        vec![("Host", host.as_str()), ("Origin", "null")],
        vec![("Host", host.as_str()), ("Origin", "https://127.0.0.1")],
        vec![("Host", host.as_str()), ("Sec-Fetch-Site", "cross-site")],
        vec![("Host", host.as_str()), ("Sec-Fetch-Site", "same-site")],
    ] {
        let status = with("GET", &card, &headers);
        assert!([400, 403].contains(&status), "{headers:?}: {status}");
    }
    // Without the secret there is nothing.
    for path in [
        "/",
        "/card",
        &format!("/{}/card", "0".repeat(32)),
        &format!("{}/card", root[..20].trim_end_matches('/')),
    ] {
        assert_eq!(with("GET", path, &[("Host", &host)]), 404, "{path}");
    }
    // Nothing is changed but by a page that says where it is from.
    let before = desk.has("strip.toml");
    let undo = format!("{root}recipe/-/edit");
    assert_eq!(
        served.send("POST", &undo, &[("Host", &host)], "[]").status,
        403
    );
    assert_eq!(
        served
            .send(
                "POST",
                &undo,
                &[("Host", &host), ("Origin", "http://eclipse.example")],
                "[]"
            )
            .status,
        403
    );
    assert_eq!(desk.has("strip.toml"), before);
}

#[test]
fn every_answer_says_what_it_may_do_and_the_page_loads_nothing_from_elsewhere() {
    let desk = Desk::new();
    let served = Served::of(&desk);
    let page = served.get("");
    assert_eq!(page.status, 200);
    for path in [
        "", "page.css", "page.js", "icon.svg", "card", "thumb/0", "nowhere",
    ] {
        let answer = served.get(path);
        let policy = answer.header("content-security-policy");
        for part in [
            "default-src 'none'",
            "script-src 'self'",
            "style-src 'self'",
            "frame-ancestors 'none'",
            "form-action 'none'",
        ] {
            assert!(policy.contains(part), "{path}: {policy}");
        }
        assert!(
            !policy.contains("unsafe") && !policy.contains("http"),
            "{policy}"
        );
        assert_eq!(answer.header("x-content-type-options"), "nosniff", "{path}");
        assert_eq!(answer.header("referrer-policy"), "no-referrer", "{path}");
        assert_eq!(
            answer.header("cross-origin-resource-policy"),
            "same-origin",
            "{path}"
        );
    }
    let script = served.get("page.js").text();
    let style = served.get("page.css").text();
    // The one address in them names a kind of element and is asked for by nobody.
    let script = script.replace("http://www.w3.org/2000/svg", "");
    for text in [&page.text(), &script, &style] {
        assert!(!text.contains("http:") && !text.contains("https:") && !text.contains("url("));
    }
    assert!(
        !script.contains("innerHTML") && !script.contains("eval("),
        "names of files stay text"
    );
    assert!(!page.text().contains("style=") && !page.text().contains("onclick"));
}

#[test]
fn nothing_is_given_by_a_path() {
    let desk = Desk::new();
    fs::write(desk.out().join("secret.txt"), "mine").unwrap();
    fs::write(desk.out().join("strip-.toml"), "mine").unwrap();
    let served = Served::of(&desk);
    for path in [
        "thumb/../../catalogue.json",
        "thumb/..%2F..%2Fcatalogue.json",
        "thumb/-1",
        "thumb/999",
        "picture/999?side=100",
        "picture/0?side=100&path=/etc/hostname",
        "picture/0?side=x",
        "result/-/99",
        "result/-/2",
        "result/..%2Fout/0",
        "recipe/..%2F..%2Fcard",
        "recipe/%2Fetc%2Fhostname",
        "recipe/secret.txt",
        "sheet/..%2Fcatalogue.json",
        "catalogue.json",
        "%2e%2e/catalogue.json",
    ] {
        let answer = served.get(path);
        assert!(
            [400, 404].contains(&answer.status),
            "{path}: {}",
            answer.status
        );
        assert!(
            !answer.text().contains("mine") && !answer.text().contains("program"),
            "{path}"
        );
    }
    let huge = format!("[{}]", vec!["{\"take\":1}"; 20_000].join(","));
    assert_eq!(served.post("recipe/-/edit", &huge).status, 413);
    for body in [
        "{",
        "[{\"take\":\"DCIM\"}]",
        "[{\"write\":1}]",
        "[{\"take\":999}]",
    ] {
        let status = served.post("recipe/-/edit", body).status;
        assert!((400..500).contains(&status), "{body}: {status}");
    }
    assert_eq!(served.get("card").status, 200, "it goes on");
}

#[test]
fn the_card_and_its_pictures_are_given_by_their_numbers() {
    let desk = Desk::new();
    let served = Served::of(&desk);
    let card = served.get("card").json();
    let catalogue = desk.catalogue();
    let frames = card["frames"].as_array().unwrap();
    assert_eq!(frames.len(), catalogue.shots.len());
    assert_eq!(frames[3]["name"], catalogue.shots[3].name());
    assert!(
        !served
            .get("card")
            .text()
            .contains(&*desk.card().to_string_lossy()),
        "no path of the machine is told"
    );
    assert!(
        card["safety"].to_string().contains("never look at the Sun")
            || card["safety"].to_string().contains("Never look at the Sun")
    );
    let names: Vec<&str> = card["contacts"]
        .as_array()
        .unwrap()
        .iter()
        .map(|c| c["name"].as_str().unwrap())
        .collect();
    assert_eq!(names, ["C1", "C2", "maximum", "C3", "C4"]);
    // A thumbnail is made of the original and kept.
    assert!(served.get("thumb/3").picture().width() <= 160);
    // All of a frame, no larger than it is.
    assert_eq!(
        served.get("picture/3?side=2000").picture().dimensions(),
        (420, 320)
    );
    assert_eq!(
        served.get("picture/3?side=210").picture().dimensions(),
        (210, 160)
    );
    // The square about the disc: the limb is where the fitted circle says. Here the Sun is 80 px in radius, the square twice that.
    let sun = catalogue.shots[0].disc.unwrap().sun.unwrap();
    let disc = served.get("picture/0?side=2000&half=1.25").picture();
    let side = disc.width() as f64;
    assert!((side - 2.5 * sun.radius_px).abs() < 1.0);
    let light = |r: f64, angle: f64| {
        let at = |v: f64| (side / 2.0 + v * sun.radius_px) as u32;
        disc.get_pixel(at(r * angle.cos()), at(r * angle.sin()))[0]
    };
    for angle in [0.3, 1.8, 3.4, 5.0] {
        assert!(
            light(0.97, angle) > 60 && light(1.04, angle) < 40,
            "{angle}: {} {}",
            light(0.97, angle),
            light(1.04, angle)
        );
    }
    // Pixel by pixel, off the disc's centre.
    assert_eq!(
        served
            .get("picture/0?side=40&half=0.25&dx=1&dy=0")
            .picture()
            .dimensions(),
        (40, 40)
    );
    assert!(
        served
            .get("picture/0?side=40&half=0.25&dx=NaN&dy=1e300")
            .status
            == 200
    );
}

#[test]
fn what_is_chosen_is_in_the_recipe_at_once_and_comments_stay() {
    let desk = Desk::new();
    let served = Served::of(&desk);
    let begun = served.get("recipe/-").json();
    let text = desk
        .read("strip.toml")
        .replace("layout = \"row\"", "layout = \"row\" # as on the wall");
    fs::write(desk.out().join("strip.toml"), &text).unwrap();
    let (first, second) = (numbers(&begun["before"])[0], numbers(&begun["before"])[1]);
    let name = |n: usize| desk.catalogue().shots[n].name().to_owned();

    let dropped = served.post("recipe/-/edit", &json!([{ "drop": first }]).to_string());
    assert_eq!(dropped.status, 200, "{}", dropped.text());
    assert!(!recipe(&desk, "strip.toml").before.contains(&name(first)));
    let set = json!([{ "set": { "key": "paper", "value": "12x18 in" } }, { "set": { "key": "spacing", "value": 0.5 } }, { "aside": first },
        { "set": { "key": "outputs", "value": ["png"] } }, { "set": { "key": "embed_location", "value": true } }]);
    let answer = served.post("recipe/-/edit", &set.to_string());
    assert_eq!(answer.status, 200, "{}", answer.text());
    let now = recipe(&desk, "strip.toml");
    assert!(now.embed_location && now.paper.is_some() && now.aside == [name(first)]);
    assert!(desk.read("strip.toml").contains("# as on the wall"));
    let field = |answer: &Value, name: &str| {
        let fields = answer["fields"].as_array().unwrap().clone();
        fields.into_iter().find(|f| f["name"] == name).unwrap()
    };
    assert_eq!(field(&answer.json(), "paper")["value"], "12x18 in");
    assert_eq!(
        (
            field(&answer.json(), "dpi")["least"].as_f64(),
            field(&answer.json(), "dpi")["most"].as_f64()
        ),
        (Some(30.0), Some(2400.0))
    );
    // One wrong change of several: none is made, and the words are the file's own.
    let before = desk.read("strip.toml");
    let wrong = json!([{ "drop": second }, { "set": { "key": "dpi", "value": 3 } }]);
    let answer = served.post("recipe/-/edit", &wrong.to_string());
    assert_eq!(answer.status, 422);
    assert!(
        answer.json()["error"]
            .as_str()
            .unwrap()
            .contains("outside 30 to 2400"),
        "{}",
        answer.text()
    );
    assert_eq!(desk.read("strip.toml"), before);
    // The middle, and moving about.
    let moved = json!([{ "move": { "frame": second, "list": "after", "at": 0 } }, { "set": { "key": "centre", "value": { "frame": first } } }]);
    let answer = served.post("recipe/-/edit", &moved.to_string()).json();
    assert_eq!(answer["centre"], first);
    assert_eq!(numbers(&answer["after"])[0], second);
    for _ in 0..3 {
        assert_eq!(served.post("recipe/-/undo", "{}").status, 200);
    }
    assert_eq!(
        desk.read("strip.toml"),
        text,
        "back to what the person wrote"
    );
    let redone = served.post("recipe/-/redo", "{}").json();
    assert!(!numbers(&redone["before"]).contains(&first) && redone["redo"] == 2);
}

#[test]
fn the_corona_s_frames_and_strength_are_chosen_too() {
    let desk = Desk::new();
    let served = Served::of(&desk);
    let card = served.get("card").json();
    let frames = card["frames"].as_array().unwrap();
    let dark = frames
        .iter()
        .position(|f| card["phases"][f["phase"].as_u64().unwrap() as usize] == "totality")
        .unwrap();
    let change =
        json!([{ "without": dark }, { "set": { "key": "corona_strength", "value": 2.5 } }])
            .to_string();
    let now = served.post("recipe/-/edit", &change).json();
    assert_eq!(numbers(&now["without"]), [dark]);
    let read = recipe(&desk, "strip.toml");
    assert!((read.corona_strength - 2.5).abs() < 1e-12 && read.corona_without.len() == 1);
    // A merge heeds it: it was the only frame.
    assert_eq!(served.post("work/-", "\"merge\"").status, 202);
    assert!(
        served.worked()["lines"]
            .to_string()
            .contains("corona_without")
    );
    let now = served
        .post("recipe/-/edit", &json!([{ "with": dark }]).to_string())
        .json();
    assert!(numbers(&now["without"]).is_empty());
}

#[test]
fn two_pages_at_once_see_each_other_and_lose_nothing() {
    let desk = Desk::new();
    let served = Served::of(&desk);
    let begun = served.get("recipe/-").json();
    let seen = served.get("pulse/-").json()["recipe"].clone();
    assert_eq!(seen, begun["revision"]);
    let frames: Vec<usize> = (0..8).collect();
    std::thread::scope(|scope| {
        for n in &frames {
            let served = &served;
            scope.spawn(move || {
                let answer = served.post("recipe/-/edit", &json!([{ "aside": n }]).to_string());
                assert_eq!(answer.status, 200, "{}", answer.text());
            });
        }
    });
    let now = served.get("recipe/-").json();
    let mut aside = numbers(&now["aside"]);
    aside.sort_unstable();
    assert_eq!(aside, frames);
    assert_ne!(served.get("pulse/-").json()["recipe"], seen);
    // The same step from two pages that did not see each other: the second is told.
    let first = numbers(&begun["before"])[0];
    let drop = json!([{ "drop": first }]).to_string();
    assert_eq!(
        (
            served.post("recipe/-/edit", &drop).status,
            served.post("recipe/-/edit", &drop).status
        ),
        (200, 422)
    );
    // Another run that reads the card anew is seen too.
    let card = served.get("pulse/-").json()["card"].clone();
    let mut catalogue = desk.catalogue();
    catalogue.shots.truncate(catalogue.shots.len() - 1);
    std::thread::sleep(std::time::Duration::from_millis(20));
    desk.save(&catalogue);
    assert_ne!(served.get("pulse/-").json()["card"], card);
    assert_eq!(
        served.get("card").json()["frames"]
            .as_array()
            .unwrap()
            .len(),
        catalogue.shots.len()
    );
}

#[test]
fn a_page_whose_program_was_killed_loses_nothing() {
    let desk = Desk::new();
    let served = Served::of(&desk);
    let begun = served.get("recipe/-").json();
    let first = numbers(&begun["before"])[0];
    let before = desk.read("strip.toml");
    assert_eq!(
        served
            .post("recipe/-/edit", &json!([{ "drop": first }]).to_string())
            .status,
        200
    );
    let after = desk.read("strip.toml");
    let secret = served.root.clone();
    served.kill();
    let served = Served::of(&desk);
    assert_ne!(served.root, secret, "a secret is used once");
    let now = served.get("recipe/-").json();
    assert!(!numbers(&now["before"]).contains(&first) && now["undo"] == 1);
    assert_eq!(served.post("recipe/-/undo", "{}").status, 200);
    assert_eq!(desk.read("strip.toml"), before);
    assert_eq!(served.post("recipe/-/redo", "{}").status, 200);
    assert_eq!(desk.read("strip.toml"), after);
}

#[test]
fn the_strip_is_drawn_small_as_it_stands() {
    let desk = Desk::new();
    let served = Served::of(&desk);
    served.get("recipe/-");
    let empty = json!([{ "set": { "key": "centre", "value": "none" } }]).to_string();
    let begun = served.post("recipe/-/edit", &empty).json();
    let drawn = served.get("strip/-?width=900").json();
    let placed = |drawn: &Value| -> Vec<Option<usize>> {
        drawn["placed"]
            .as_array()
            .unwrap()
            .iter()
            .map(|p| p["frame"].as_u64().map(|n| n as usize))
            .collect()
    };
    let listed = |r: &Value| [numbers(&r["before"]), numbers(&r["after"])].concat();
    let discs: Vec<usize> = placed(&drawn).into_iter().flatten().collect();
    assert_eq!(discs, listed(&begun));
    let sheet = served
        .get(&format!("sheet/{}", drawn["sheet"].as_str().unwrap()))
        .picture();
    assert_eq!(
        (sheet.width(), u64::from(sheet.height())),
        (900, drawn["height"].as_u64().unwrap())
    );
    // Light stands where a disc is said to be, and none between it and the edge.
    let first = &drawn["placed"][0];
    let at = |v: &Value| v.as_f64().unwrap() as u32;
    assert!(sheet.get_pixel(at(&first["x"]), at(&first["y"]))[0] > 60);
    assert!(sheet.get_pixel(2, 2)[0] < 20);
    // It follows the recipe, at the shape of its paper.
    let change = json!([{ "drop": discs[0] }, { "set": { "key": "paper", "value": "12x18 in" } }, { "set": { "key": "layout", "value": "grid" } }]);
    assert_eq!(
        served.post("recipe/-/edit", &change.to_string()).status,
        200
    );
    let again = served.get("strip/-?width=600").json();
    assert_eq!(
        placed(&again).into_iter().flatten().count(),
        discs.len() - 1
    );
    assert_eq!(
        (again["width"].as_u64(), again["height"].as_u64()),
        (Some(600), Some(900))
    );
    // What stands in its way is told, not hidden.
    fs::remove_file(desk.card().join(desk.catalogue().shots[discs[1]].name())).unwrap();
    fs::remove_dir_all(desk.out().join(".cache/tiles")).unwrap();
    let served = Served::of(&desk);
    let drawn = served.get("strip/-?width=600").json();
    assert!(
        drawn["notices"]
            .to_string()
            .contains("left out of the strip"),
        "{}",
        drawn["notices"]
    );
}

#[test]
fn the_full_strip_and_copies_are_made_with_their_progress() {
    let desk = Desk::new();
    let served = Served::of(&desk);
    served.get("recipe/-");
    let small = json!([{ "set": { "key": "width_px", "value": 600 } }, { "set": { "key": "outputs", "value": ["png"] } }, { "set": { "key": "centre", "value": "none" } }]);
    assert_eq!(served.post("recipe/-/edit", &small.to_string()).status, 200);
    assert_eq!(served.post("work/-", "\"strip\"").status, 202);
    // One piece of work at a time, unless the first was quicker than this.
    let second = served.post("work/-", "\"report\"").status;
    assert!([202, 409].contains(&second), "{second}");
    let work = served.worked();
    assert_eq!(work["good"], true, "{work}");
    assert_eq!(super::desk::size(&desk.out().join("strip.png")).0, 600);
    let results = served.get("recipe/-").json()["results"].clone();
    let strip = results
        .as_array()
        .unwrap()
        .iter()
        .find(|r| r["name"] == "strip.png")
        .unwrap()
        .clone();
    let picture = served.get(&format!("result/-/{}", strip["number"]));
    assert_eq!(picture.header("content-type"), "image/png");
    assert_eq!(
        picture.body,
        fs::read(desk.out().join("strip.png")).unwrap()
    );
    let small = served.get(&format!("result/-/{}/small", strip["number"]));
    assert_eq!(small.header("content-type"), "image/jpeg");
    assert!(small.body.starts_with(&[0xFF, 0xD8]));
    assert!(small.body.len() < picture.body.len());
    assert_eq!(served.get("result/-/99/small").status, 404);
    // The chosen frames, checked copies that `export --undo` knows of.
    let chosen = recipe(&desk, "strip.toml");
    assert_eq!(
        served
            .post(
                "work/-",
                "{\"export\":{\"frames\":\"strip\",\"link\":false}}"
            )
            .status,
        202
    );
    let work = served.worked();
    assert_eq!(work["good"], true, "{work}");
    for name in chosen.frames() {
        let own = name.rsplit('/').next().unwrap();
        let copy = fs::read(desk.out().join("phases/chosen").join(own)).unwrap();
        assert_eq!(copy, fs::read(desk.card().join(name)).unwrap(), "{name}");
    }
    let undone = desk.run("export", &["--undo"]);
    assert!(undone.status.success(), "{}", super::desk::said(&undone));
    assert!(!desk.has("phases/chosen"));
}

#[test]
fn recipes_with_names_have_pages_of_their_own() {
    let desk = Desk::new();
    let served = Served::of(&desk);
    let first = served.get("recipe/-").json();
    let print = served.get("recipe/print").json();
    assert_eq!(
        (print["file"].as_str(), print["before"].clone()),
        (Some("strip-print.toml"), first["before"].clone())
    );
    assert_eq!(
        served
            .post(
                "recipe/print/edit",
                &json!([{ "set": { "key": "layout", "value": "ring" } }]).to_string()
            )
            .status,
        200
    );
    assert!(
        desk.read("strip.toml").contains("layout = \"row\"")
            && desk.read("strip-print.toml").contains("layout = \"ring\"")
    );
    assert_eq!(served.get("recipe/-").json()["all"], json!(["-", "print"]));
}

#[test]
fn a_card_of_five_thousand_is_given_whole() {
    let desk = Desk::of_many(5_000);
    let served = Served::of(&desk);
    let begun = std::time::Instant::now();
    let card = served.get("card");
    // Unoptimised and beside other tests; a page wants it within a second.
    assert!(begun.elapsed().as_secs() < 20);
    assert_eq!(card.json()["frames"].as_array().unwrap().len(), 5_000);
    assert!(card.body.len() < 2_000_000, "{} bytes", card.body.len());
}

#[test]
#[cfg(unix)]
fn ctrl_c_ends_it_and_leaves_nothing_behind() {
    let desk = Desk::new();
    let served = Served::of(&desk);
    served.get("recipe/-");
    let port = served.host.clone();
    assert_eq!(served.interrupt(), Some(0));
    assert!(std::net::TcpStream::connect(port).is_err());
    assert!(!desk.has(".contactstrip-lock"));
    let frames = desk.frames(Phase::Ingress);
    assert!(frames.iter().all(|name| desk.card().join(name).is_file()));
}

#[test]
fn what_cannot_be_served_is_told() {
    let desk = Desk::new();
    let taken = std::net::TcpListener::bind("127.0.0.1:0").unwrap();
    let port = taken.local_addr().unwrap().port().to_string();
    let output = desk.run("choose", &["--no-browser", "--port", &port]);
    assert_eq!(output.status.code(), Some(2));
    assert!(
        super::desk::said(&output).contains(&port),
        "{}",
        super::desk::said(&output)
    );
    fs::remove_file(desk.out().join("catalogue.json")).unwrap();
    let output = desk.run("choose", &["--no-browser"]);
    assert_eq!(output.status.code(), Some(2));
    assert!(super::desk::said(&output).contains("contactstrip sort"));
}
