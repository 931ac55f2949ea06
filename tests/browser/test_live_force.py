"""Live force at the rig: a stand-in for the browser's serial port plays a recorded load cell."""

import json

import numpy as np
import pytest
from playwright.sync_api import expect

from deploy.demo.recorder import Logger, Specimen, record
from deploy.tools.processes import TIMEOUT_S
from results.models import Pool, Session, Trace
from results.models.lifecycle import State
from results.worker.embedded import drain
from tests import making
from tests.browser.test_bench import add_a_join, as_person, at_the_rig, set_up
from tests.intake.conftest import bench

__all__ = ["as_person", "at_the_rig", "bench"]

HZ = 80
STAND_IN = """
(() => {
  let send, closed;
  const open = () => {
    port.readable = new ReadableStream({ start(to) { send = to; }, cancel() { send = null; } });
  };
  const port = {
    readable: null,
    async open(options) { port.options = options; open(); },
    async close() { port.readable = null; },
  };
  Object.defineProperty(navigator, "serial", { value: { requestPort: async () => port } });
  const bytes = new TextEncoder();
  window.device = {
    port,
    write(text) { send.enqueue(bytes.encode(text)); },
    /* A port hands over what has come every few milliseconds, seldom at the end of a line. */
    async play(text, hz) {
      const perLine = text.length / text.split("\\n").length;
      const started = performance.now();
      for (let sent = 0; sent < text.length;) {
        await new Promise((then) => setTimeout(then, 16));
        const due = Math.floor((performance.now() - started) * hz * perLine / 1000);
        if (due > sent) this.write(text.slice(sent, due));
        sent = Math.max(sent, due);
      }
    },
    pullOut() { const to = send; port.readable = null; to.error(new Error("gone")); },
  };
})();
"""


LIVE = {
    "owner": ((20.53, 21.04, 20.2, 20.8), (15.2, 16.02, 15.5, 15.84)),
    "other": ((19.71, 20.36, 20.94, 20.07), (15.61, 14.93, 16.28, 15.02)),
    "moderator": ((21.12, 20.41, 20.66, 19.88), (15.77, 16.35, 14.98, 15.43)),
}
"""Peaks in pounds of straight line and of joins, by tester; invented."""


@pytest.fixture
def connected(page, at_the_rig):
    """At the rig, with a load cell connected that writes pounds, a line each sample."""
    return connect(page)


@pytest.fixture(autouse=True)
def stand_in(page):
    page.add_init_script(STAND_IN)


def connect(page):
    page.locator("#live summary").click()
    page.get_by_role("button", name="Connect", exact=True).click()
    expect(page.get_by_role("button", name="Disconnect")).to_be_visible()
    return page


def recorded(peak: float, *, slip: float | None = None, rise_s: float = 1.0) -> str:
    """What the load cell writes in a pull: zero, a rise with a slip in it, the break, zero."""
    rng = np.random.default_rng(int(100 * peak))
    rise = np.linspace(0, peak, int(HZ * rise_s))
    if slip is not None:
        rise[rise > slip] -= 0.7 * slip * np.exp(-np.arange((rise > slip).sum()) / 6)
        rise[-1] = peak
    force = np.concatenate([np.zeros(HZ // 2), rise, np.zeros(HZ // 2)])
    noisy = force + rng.normal(0, 0.01, len(force)) * (force < peak)
    return "".join(f"{each:.2f} lb\r\n" for each in noisy)


def play(page, text: str) -> None:
    page.evaluate("([text, hz]) => device.play(text, hz)", [text, HZ])


def end(page, how: str) -> None:
    page.locator(".modes-pad").get_by_role("button", name=how, exact=True).click()


def test_a_pull_is_drawn_as_it_is_made_and_its_peak_offered(connected, look):
    page = connected
    play(page, recorded(20.53))
    expect(page.locator("#reading")).to_have_value("20.53")
    expect(page.locator("#force-peak")).to_contain_text("Peak 20.53 lbf")
    expect(page.locator("#live-line")).to_contain_text("lb →")
    points = page.locator("#force-line").get_attribute("points").split()
    heights = [float(point.split(",")[1]) for point in points]
    assert len(points) > 80
    assert min(heights) == pytest.approx(16, abs=0.2)
    look(name="at the rig, live force")
    end(page, "in the line")
    expect(page.locator("#pulls li")).to_contain_text("in the line, recorded")
    expect(page.locator("#reading")).to_have_value("")


def test_after_a_slip_the_higher_peak_is_offered_and_what_was_typed_stays(connected):
    page = connected
    play(page, recorded(21.4, slip=12.0))
    expect(page.locator("#reading")).to_have_value("21.40")
    page.fill("#reading", "21.5")
    play(page, recorded(3.0))
    expect(page.locator("#reading")).to_have_value("21.5")


def test_two_pulls_in_a_row_wait_for_their_names_in_turn_and_one_can_be_forgotten(connected):
    page = connected
    quiet = "0.01 lb\r\n" * 2 * HZ
    for peak in (20.1, 20.9, 19.5):
        play(page, recorded(peak) + quiet)
    expect(page.locator("#reading")).to_have_value("20.10")
    end(page, "in the line")
    expect(page.locator("#reading")).to_have_value("20.90")
    page.get_by_role("button", name="Forget this recording").click()
    expect(page.locator("#reading")).to_have_value("19.50")
    end(page, "at a grip")
    expect(page.locator("#pulls li b")).to_have_text(["19.50", "20.10"])


def test_a_load_cell_of_another_unit_or_that_falls_silent_or_out_is_said(connected):
    page = connected
    play(page, "1.00 kg\r\n" * 20)
    expect(page.locator("#live .error")).to_contain_text("writes kgf, but")
    page.evaluate("device.pullOut()")
    expect(page.locator("#live .error")).to_contain_text("was disconnected")
    page.get_by_role("button", name="Connect", exact=True).click()
    page.evaluate("device.write('\\u00fe\\u00fe\\u00fe')")
    expect(page.locator("#live .error")).to_contain_text("Nothing that can be read has come")
    page.get_by_role("button", name="Disconnect").click()
    expect(page.get_by_role("button", name="Connect", exact=True)).to_be_visible()


@pytest.mark.parametrize("size", ["desktop"], indirect=True)
def test_pulls_of_a_simulated_rig_are_caught_with_its_drift_and_its_handling(connected):
    """Drawn by rules of its own (deploy/demo/recorder), and played at eight times its pace."""
    page = connected
    rng = np.random.default_rng(5)
    logger = Logger(unit="lbf", step=0.02)
    caught = []
    for strength, slips in ((92.0, 0), (68.0, 2), (75.0, 1)):
        drawn = record(rng, logger, [Specimen("joined", strength, 20.0, slips)])
        text = "".join(f"{each:.2f}\r\n" for each in drawn.reading)
        page.evaluate("([text, hz]) => device.play(text, 8 * hz)", [text, HZ])
        caught.append(f"{drawn.reading.max():.2f}")
        expect(page.locator("#reading")).to_have_value(caught[-1])
        end(page, "in the line")
    expect(page.locator("#pulls li b")).to_have_text(caught[::-1])


@pytest.mark.parametrize(
    ("line", "which", "number"),
    [
        ("12.34", 0, "12.34"),
        ("ST,GS,+  12.34 kg", 0, "12.34"),
        ("12,34", 0, "12,34"),
        ("1234,12.34", 1, "12.34"),
        ("1234;12,34", 1, "12,34"),
        ("1234,56", 1, "56"),
        ("F1=-0.02N", 0, "-0.02"),
        ("t 10:22:31 f 8", -1, "8"),
        ("1.5e-1", 0, "1.5e-1"),
    ],
)
@pytest.mark.parametrize("size", ["desktop"], indirect=True)
def test_any_line_with_a_number_is_read(at_the_rig, line, which, number):
    found = at_the_rig.evaluate("([line, which]) => numberOf(line, which)", [line, which])
    assert found["written"] == number
    assert found["force"] == float(number.replace(",", "."))


@pytest.mark.parametrize("size", ["desktop"], indirect=True)
def test_lines_that_came_at_once_get_times_of_their_own_and_a_pause_stays_one(at_the_rig):
    times = at_the_rig.evaluate(
        "(() => { const clock = new Clock();"
        " return [[2, 25], [1, 37.5], [3, 75], [2, 1000]].map(([n, at]) => clock.timesOf(n, at));"
        " })()"
    )
    assert times[2] == pytest.approx([50, 62.5, 75])
    assert times[3] == pytest.approx([987.5, 1000])
    assert np.diff(np.concatenate(times)[1:]).min() > 0


def test_a_recorded_session_survives_a_lost_network_and_is_sent_with_its_traces(
    connected, settings, look
):
    page = connected
    page.wait_for_selector("#rig[data-kept=yes]")
    for peak in (20.53, 21.04, 20.2, 20.8):
        play(page, recorded(peak))
        end(page, "in the line")
    page.context.set_offline(True)
    page.reload()
    connect(page)
    add_a_join(page)
    for peak in (15.2, 16.02, 15.5):
        play(page, recorded(peak, slip=9.0))
        end(page, "at the join")
    page.context.set_offline(False)
    page.complaints.clear()
    sent = []
    page.on("request", lambda request: request.method == "POST" and sent.append(request.post_data))
    page.get_by_role("button", name="Send the session").click()
    page.wait_for_url("**/jobs/*/", timeout=1000 * TIMEOUT_S)
    document = json.loads(sent[0])
    for part in (*document["baselines"], *document["pull_sets"]):
        for pull in part["pulls"]:
            trace = pull["trace"]
            assert trace["unit"] == "lbf"
            assert max(trace["force"]) == float(pull["reading"])
            assert np.diff(trace["time_s"]).min() > 0
            assert len(trace["force"]) == len(trace["time_s"]) > HZ
    drain()
    pull_set = Session.objects.get().pull_sets.get()
    assert pull_set.state == State.POOLED
    assert pull_set.normalised.pool.current.sets == 1
    assert [len(pull.trace.slips) for pull in pull_set.pulls.all()] == [1, 1, 1]
    assert Trace.objects.count() == 7
    look(f"/pull-sets/{pull_set.pk}/", name="traces of a set")
    page.goto("/at-the-rig/")
    page.wait_for_function("caches.has('at-the-rig-traces').then((has) => !has)")


@pytest.mark.parametrize("size", ["phone"], indirect=True)
def test_live_pulls_of_three_testers_end_in_a_pooled_figure_that_a_stranger_reads(
    transactional_db, owner, other, moderator, bench, as_person, look
):
    """Each at a rig of their own; the load cell is played at eight times its pace."""
    for tester, (straight, joined) in LIVE.items():
        person = {"owner": owner, "other": other, "moderator": moderator}[tester]
        if person != owner:
            making.revision_of(person)
        page = set_up(as_person(person))
        connect(page)
        for peaks, ended in ((straight, "in the line"), (joined, "at the join")):
            if ended == "at the join":
                add_a_join(page)
            for number, peak in enumerate(peaks, start=1):
                page.evaluate("([text, hz]) => device.play(text, 8 * hz)", [recorded(peak), HZ])
                expect(page.locator("#reading")).to_have_value(f"{peak:.2f}")
                end(page, ended)
                expect(page.locator("#pulls li")).to_have_count(number)
        page.get_by_role("button", name="Send the session").click()
        page.wait_for_url("**/jobs/*/", timeout=1000 * TIMEOUT_S)
        drain()
    pool = Pool.objects.get()
    ratios = [np.mean(joined) / np.mean(straight) for straight, joined in LIVE.values()]
    assert [pool.current.testers, pool.current.pulls] == [3, 12]
    assert pool.current.efficiency == pytest.approx(np.exp(np.mean(np.log(ratios))), rel=0.01)
    page.context.clear_cookies()
    look(f"/pools/{pool.pk}/", name="pool of live pulls")
    expect(page.get_by_text(f"{100 * pool.current.efficiency:.1f}%").first).to_be_visible()


# Writing that never comes to its end; and a phone that is full for what is kept at once.
SLOW = "() => { Cache.prototype.put = () => new Promise(() => {}); }"
FAILING = "() => { Cache.prototype.put = async () => { throw new Error('no room'); }; }"
FULL = """() => {
  const write = Storage.prototype.setItem;
  Storage.prototype.setItem = function (name, text) {
    if (/[.](trace|unnamed)/.test(name)) throw new DOMException("full", "QuotaExceededError");
    return write.call(this, name, text);
  };
}"""


def peaks_sent(page) -> list[float]:
    """The peaks of the traces that would be sent now."""
    found = page.evaluate("document_()")
    parts = [*found["baselines"], *found["pull_sets"]]
    return [max(p["trace"]["force"]) for part in parts for p in part["pulls"] if "trace" in p]


def test_what_is_shown_as_recorded_is_there_after_a_reload_however_slow_the_phone_writes(
    connected,
):
    page = connected
    page.evaluate(SLOW)
    for peak in (20.53, 21.04):
        play(page, recorded(peak))
        end(page, "in the line")
    expect(page.locator("#pulls li").first).to_contain_text("in the line, recorded")
    page.reload()
    add_a_join(page)
    connect(page)
    play(page, recorded(15.2))
    end(page, "at the join")
    assert peaks_sent(page) == [20.53, 21.04, 15.2]


def test_a_recording_that_could_not_be_kept_is_said_and_never_shown_as_kept(connected):
    page = connected
    page.evaluate(SLOW)
    page.evaluate(FULL)
    play(page, recorded(20.53))
    end(page, "in the line")
    expect(page.locator("#pulls li")).to_contain_text("its recording is being kept")
    page.reload()
    expect(page.locator("#pulls li")).to_contain_text("recording lost")
    expect(page.locator("#outcome")).to_contain_text("A recording could not be kept")
    page.evaluate(FAILING)
    page.evaluate(FULL)
    connect(page)
    play(page, recorded(21.04))
    end(page, "in the line")
    expect(page.locator("#pulls li").first).to_contain_text("recording lost")
    expect(page.locator("#pulls li b")).to_have_text(["21.04", "20.53"])


def test_a_recording_that_the_browser_threw_away_stops_the_sending_once(connected):
    page = connected
    play(page, recorded(20.53))
    end(page, "in the line")
    add_a_join(page)
    play(page, recorded(15.2))
    end(page, "at the join")
    page.wait_for_function("Object.keys(localStorage).every((name) => !name.includes('.trace.'))")
    page.evaluate("caches.delete('at-the-rig-traces')")
    page.get_by_role("button", name="Send the session").click()
    expect(page.locator("#outcome")).to_contain_text("A recording could not be kept")
    assert not Session.objects.exists()
    with page.expect_request(lambda request: request.method == "POST") as sent:
        page.get_by_role("button", name="Send the session").click()
    assert "trace" not in sent.value.post_data
    assert '"15.20"' in sent.value.post_data


def test_pulls_not_named_yet_wait_through_a_reload_and_a_pull_cut_off_by_it_is_said(connected):
    page = connected
    play(page, recorded(20.1) + "0.01 lb\r\n" * 3 * HZ + recorded(20.9))
    page.reload()
    expect(page.locator("#reading")).to_have_value("20.10")
    page.get_by_role("button", name="Send the session").click()
    expect(page.locator("#outcome")).to_contain_text("has no name yet")
    end(page, "in the line")
    expect(page.locator("#reading")).to_have_value("20.90")
    end(page, "in the line")
    connect(page)
    whole = recorded(19.5)
    play(page, whole[: len(whole) // 2])
    page.reload()
    expect(page.locator("#live .error")).to_contain_text("A pull was under way")
    expect(page.locator("#reading")).to_have_value("")
    page.reload()
    expect(page.locator("#live .error")).to_be_hidden()
    add_a_join(page)
    page.fill("#reading", "15")
    end(page, "at the join")
    assert peaks_sent(page) == [20.1, 20.9]


def test_pulls_not_named_yet_wait_through_a_cable_that_was_pulled_out(connected):
    page = connected
    play(page, recorded(20.1) + "0.01 lb\r\n" * 3 * HZ)
    play(page, recorded(19.5)[: 100 * 9])
    page.evaluate("device.pullOut()")
    expect(page.locator("#live .error")).to_contain_text("was disconnected")
    expect(page.locator("#live .error")).to_contain_text("A pull was under way")
    page.get_by_role("button", name="Connect", exact=True).click()
    expect(page.get_by_role("button", name="Disconnect")).to_be_visible()
    play(page, recorded(20.9))
    expect(page.locator("#reading")).to_have_value("20.10")
    end(page, "in the line")
    expect(page.locator("#reading")).to_have_value("20.90")


@pytest.mark.parametrize("size", ["desktop"], indirect=True)
def test_a_slow_ramp_is_not_asked_about_before_it_has_broken(at_the_rig):
    """One newton a second with noise of half a newton, then a break: what is said on the way."""
    page = at_the_rig
    said = page.evaluate(
        """() => {
          const catcher = new Catcher(2);
          const said = [];
          let at = 0;
          const noise = [0.4, -0.5, 0.1, 0.5, -0.3, -0.4, 0.2];
          const add = (force) => {
            at += 12.5;
            said.push([catcher.add({ at, force, written: "" }), at]);
          };
          for (let i = 0; i < 240; i++) add(noise[i % 7]);
          for (let i = 0; i < 1600; i++) add(i / 80 + noise[i % 7]);
          const broke = at;
          for (let i = 0; i < 240; i++) add(noise[i % 7]);
          return said.filter(([event]) => event).map(([event, when]) => [event, when > broke]);
        }"""
    )
    assert said == [["began", False], ["fell", True], ["ended", True]]


@pytest.mark.parametrize("size", ["desktop"], indirect=True)
def test_a_stream_that_goes_on_failing_is_given_up_and_noise_on_the_wire_is_not(at_the_rig):
    page = at_the_rig
    gone = page.evaluate(
        """async () => {
          const stream = new ReadableStream({ start(to) { to.error(new Error("gone")); } });
          try { await new Lines({ readable: stream }).read(() => {}); } catch { return "given up"; }
          return "hangs";
        }"""
    )
    assert gone == "given up"
    heard = page.evaluate(
        """async () => {
          const heard = [];
          let opened = 0;
          const port = { get readable() {
            if (this.now && this.fresh) return this.now;
            this.fresh = true;
            const noisy = opened++ < 3;
            this.now = new ReadableStream({ start(to) {
              if (noisy) { port.fresh = false; to.error(new Error("framing")); return; }
              to.enqueue(new TextEncoder().encode("1\\n2\\n3\\n"));
              to.close();
            } });
            return this.now;
          } };
          await new Lines(port).read((lines) => heard.push(...lines));
          return heard;
        }"""
    )
    assert heard == ["2", "3"]


@pytest.mark.parametrize("size", ["phone"], indirect=True)
def test_a_load_cell_that_rests_off_zero_is_said_until_it_was_set(connected):
    page = connected
    play(page, "1.60 lb\r\n" * 60)
    expect(page.locator("#live .error")).to_contain_text("set its zero")
    play(page, "0.01 lb\r\n" * 400)
    expect(page.locator("#live .error")).to_be_hidden()
