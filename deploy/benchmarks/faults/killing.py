"""Workers killed: at each step of a job, at random moments, by poison, and two at one job."""

from __future__ import annotations

import contextlib
import os
import signal
import time
from collections.abc import Callable, Sequence
from functools import partial

from celery import current_app

from deploy.benchmarks.faults.bench import Bench
from deploy.benchmarks.faults.senders import HANDLES, Sending
from deploy.benchmarks.faults.service import Kept
from deploy.benchmarks.faults.stalls import (
    PHASES,
    Step,
    forget,
    kill_stalled,
    refused,
    stalled,
    standing,
    wait_for_stall,
)
from deploy.tools.processes import wait_until

RETRY = "from results import jobs; jobs.retry(['{}'])"
STATE = "SELECT state FROM results_job WHERE id = '{}'"


def killed_at(steps: Sequence[Step], bench: Bench) -> None:
    """Kill the process at a step, and go on to the next while the last is still recovering.

    At one time its process is killed alone, at another the whole worker.
    """
    for number in range(bench.repeats):
        for place, step in enumerate(steps):
            with stalled(bench.database, step):
                bench.senders.one(HANDLES[(number + place) % len(HANDLES)])
                waiting = wait_for_stall(bench.database, step)
                if number % 2:
                    bench.service.worker.kill()
                else:
                    kill_stalled(waiting)
                bench.strike()
        bench.repaired()
        bench.service.wait_until_done()
    bench.note = ", ".join(step.name for step in steps)


def killed_at_random(bench: Bench) -> None:
    """Kill a process of the worker every now and then while sessions come in."""
    with bench.senders.at_work():
        for _ in range(6 * bench.repeats):
            time.sleep(float(bench.rng.uniform(0.1, 0.8)))
            for pid in bench.service.worker.children()[:1]:
                with contextlib.suppress(ProcessLookupError):
                    os.kill(pid, signal.SIGKILL)
                    bench.strike()
        bench.repaired()


def messages_sent_again(bench: Bench) -> None:
    """A second worker, and the message of each job sent five times more."""
    second = Kept(
        bench.service.worker.command,
        bench.service.worker.environment,
        bench.folder / "second.log",
        bench.service.release,
    )
    second.start()
    with bench.senders.at_work() as accepted:
        wait_until(lambda: accepted() >= 8 * bench.repeats, "The sessions")
        for job in [entry["job"] for entry in bench.senders.ledger()]:
            for _ in range(5):
                current_app.send_task("results.tasks.run_job", args=[job])
                bench.strike()
        bench.repaired()
    bench.service.wait_until_done()
    second.stop()


def overtaken(bench: Bench) -> None:
    """A worker stands still while it reads the pulls, for longer than its lease; a second comes."""
    for _ in range(bench.repeats):
        bench.service.worker.send_signal(signal.SIGSTOP)
        sending = bench.senders.one()
        taken_twice = f"SELECT attempts > 1 FROM results_job WHERE id = '{_job(sending)}'"
        with bench.database.connect() as holder, holder.transaction():
            holder.execute("LOCK TABLE results_pull IN ACCESS EXCLUSIVE MODE")
            bench.service.worker.send_signal(signal.SIGCONT)
            wait_until(lambda: bench.database.query(taken_twice)[0][0], "A second worker", 120)  # noqa: B023
            bench.strike()
        bench.repaired()
        bench.service.wait_until_done()


def poisoned(step: Step, killing: bool, state: str, bench: Bench) -> None:
    """One session that can't get past a step, while others come in beside it.

    Where ``killing``, its worker's process is killed there each time, else a database error is
    raised. Once it is marked as failed the cause is taken away, and it is sent back.
    """
    cause = stalled(bench.database, step) if killing else refused(bench.database, step)
    with cause, bench.senders.at_work():
        sending = bench.senders.one(state=state)
        if killing:
            _kill_each_time(bench, sending)
        wait_until(lambda: _failed(bench, sending), "The poison's end", 120)
        bench.strike()
    bench.note = "marked as failed while others went on; sent back afterwards"
    bench.repaired()
    bench.manage("shell", "--no-imports", "--command", RETRY.format(_job(sending)))


def _kill_each_time(bench: Bench, sending: Sending) -> None:
    """Until it is marked as failed."""
    last_moment = time.monotonic() + 120
    while not _failed(bench, sending) and time.monotonic() < last_moment:
        waiting = standing(bench.database)
        kill_stalled(waiting)
        forget(bench.database, waiting)
        time.sleep(0.1)


def _failed(bench: Bench, sending: Sending) -> bool:
    return bool(bench.database.query(STATE.format(_job(sending))) == [("failed",)])


def _job(sending: Sending) -> str:
    return str(sending.receipt["job"]["id"])


POISONED_JOB = Step("of the poison", "results_normalisedset", "INSERT", "bench_wet(NEW.pool_id)")
POISONED_POOL = Step("of the poison", "results_poolversion", "INSERT", "bench_wet(NEW.pool_id)")
FAULTS: dict[str, Callable[[Bench], None]] = {
    **{f"worker killed {phase}": partial(killed_at, steps) for phase, steps in PHASES.items()},
    "worker killed at random": killed_at_random,
    "messages sent again, two workers": messages_sent_again,
    "worker overtaken after its lease": overtaken,
    "poison job: raises": partial(poisoned, POISONED_JOB, False, "wetted"),
    "poison job: kills its worker": partial(poisoned, POISONED_JOB, True, "wetted"),
    "poison pool: raises": partial(poisoned, POISONED_POOL, False, "wetted"),
    "poison pool: kills its worker": partial(poisoned, POISONED_POOL, True, "wetted"),
}
