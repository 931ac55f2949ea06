"""Workers killed: at each step of a job, at random moments, by poison, and two at one job."""

from __future__ import annotations

import contextlib
import os
import signal
import time
from collections.abc import Callable
from functools import partial

from celery import current_app

from deploy.faults.bench import Bench
from deploy.faults.senders import HANDLES, Sending
from deploy.faults.service import LEASE_S, Kept
from deploy.faults.stalls import (
    STEPS,
    Step,
    forget,
    kill_stalled,
    stalled,
    trigger,
    wait_for_stall,
)
from deploy.processes import wait_until

ATTEMPTS = 5
STATE = "SELECT state FROM results_job WHERE id = '{}'"


def killed_at(step: Step, bench: Bench) -> None:
    """Kill whoever stands at the step: at one time its process alone, at another all of it."""
    for number in range(bench.repeats):
        with stalled(bench.database, step):
            for handle in HANDLES[:3]:
                bench.senders.one(handle)
            waiting = wait_for_stall(bench.database, step)
            if number % 2:
                bench.service.worker.kill()
            else:
                kill_stalled(waiting)
            bench.strike()
        bench.mended()
        bench.service.wait_until_done()


def killed_at_random(bench: Bench) -> None:
    """Kill a process of the worker every now and then while sessions come in."""
    with bench.senders.at_work():
        for _ in range(10 * bench.repeats):
            time.sleep(float(bench.rng.uniform(0.1, 0.8)))
            for pid in bench.service.worker.children()[:1]:
                with contextlib.suppress(ProcessLookupError):
                    os.kill(pid, signal.SIGKILL)
                    bench.strike()
        bench.mended()


def messages_sent_again(bench: Bench) -> None:
    """A second worker, and the message of each job sent five times more."""
    second = Kept(
        [part for part in bench.service.worker.command if part != "--beat"],
        bench.service.worker.environment,
        bench.folder / "second.log",
    )
    second.start()
    with bench.senders.at_work() as accepted:
        wait_until(lambda: accepted() >= 10 * bench.repeats, "The sessions")
        for job in [entry["job"] for entry in bench.senders.ledger()]:
            for _ in range(5):
                current_app.send_task("results.tasks.run_job", args=[job])
                bench.strike()
        bench.mended()
    bench.service.wait_until_done()
    second.stop()


def overtaken(bench: Bench) -> None:
    """A worker stands still while it reads, for longer than its lease; a second takes its job."""
    for _ in range(bench.repeats):
        with bench.database.connect() as holder, holder.transaction():
            holder.execute("LOCK TABLE results_normalisedset IN ACCESS EXCLUSIVE MODE")
            sending = bench.senders.one()
            taken_twice = f"SELECT attempts > 1 FROM results_job WHERE id = '{_job(sending)}'"
            wait_until(lambda: bench.database.tell(taken_twice)[0][0], "A second worker")  # noqa: B023
            bench.strike()
        bench.mended()
        bench.service.wait_until_done()


def poison_job_that_raises(bench: Bench) -> None:
    """One session whose figures can't be written; others come in beside it."""
    _poison(bench, "NEW.step = 'screening'", "bench_refuse", lambda _: None)


def poison_job_that_kills(bench: Bench) -> None:
    """One session that ends its worker's process each time it is worked out."""
    _poison(bench, "NEW.step = 'screening'", "bench_stall", _kill_each_time)


def _poison(
    bench: Bench,
    condition: str,
    function: str,
    meanwhile: Callable[[tuple[Bench, Step, str]], None],
) -> None:
    for _ in range(max(1, bench.repeats // 2)):
        bench.service.worker.stop()
        sending = bench.senders.one()
        step = Step(
            "of the poison",
            "results_job",
            "UPDATE",
            f"{condition} AND NEW.id = '{_job(sending)}'",
        )
        poisoned = stalled if function == "bench_stall" else partial(_refused, function=function)
        with poisoned(bench.database, step), bench.senders.at_work():
            bench.service.worker.start()
            meanwhile((bench, step, _job(sending)))
            wait_until(lambda: _failed(bench, sending), "The poison's end", 90)  # noqa: B023
            bench.strike()
            bench.mended()
        bench.service.wait_until_done()


def _refused(database: object, step: Step, *, function: str) -> contextlib.AbstractContextManager:
    return trigger(database, step, function)  # type: ignore[arg-type]


def _kill_each_time(told: tuple[Bench, Step, str]) -> None:
    bench, step, _ = told
    for _ in range(ATTEMPTS):
        waiting = wait_for_stall(bench.database, step)
        kill_stalled(waiting)
        forget(bench.database, waiting)


def _failed(bench: Bench, sending: Sending) -> bool:
    return bool(bench.database.tell(STATE.format(_job(sending))) == [("failed",)])


def _job(sending: Sending) -> str:
    return str(sending.receipt["job"]["id"])


LONGER_THAN_A_LEASE_S = 2 * LEASE_S
FAULTS: dict[str, Callable[[Bench], None]] = {
    **{f"worker killed: {step.name}": partial(killed_at, step) for step in STEPS},
    "worker killed at random moments": killed_at_random,
    "messages sent again, two workers": messages_sent_again,
    "worker overtaken after its lease": overtaken,
    "poison job that raises": poison_job_that_raises,
    "poison job that kills its worker": poison_job_that_kills,
}
