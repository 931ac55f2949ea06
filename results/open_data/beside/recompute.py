"""Every pool's two-stage figures from the pulls of this archive, with pandas, numpy and scipy.

    python recompute.py [FOLDER]

Reads the readings and how they ended, what was measured with what, and of the figures that the
service computed only what traces show, since traces are in files of their own; README.md says the
same in words, and recompute.R does it by metafor.
Prints a line a pool and compares with pools.csv; the exit status is 1 where a figure differs by
more than 1e-8.
"""

from __future__ import annotations

import sys
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
from scipy.linalg import cholesky
from scipy.optimize import brentq
from scipy.stats import norm
from scipy.stats import t as student

EXACT = {
    "join": ["join", "slip", "line", "terminal"],
    "straight": ["line"],
}
"""Failure modes whose load is the strength; every other counted load is 'at least'."""
TOLERANCE = 1e-8


def censored(y: Any, exact: Any, least: float) -> tuple[float, float, float, float]:
    """Mean, CV, pulls that it is worth and degrees of freedom of loads exp(y) (step 3)."""

    def derivatives(m: float, log_s: float) -> tuple[float, Any, Any]:
        s = np.exp(log_s)
        z = (y - m) / s
        h = np.exp(norm.logpdf(z) - norm.logsf(z))
        d = h * (h - z)
        value = np.where(exact, -log_s - z**2 / 2, norm.logsf(z)).sum()
        slope = [np.where(exact, z, h).sum() / s, np.where(exact, z**2 - 1, h * z).sum()]
        mixed = np.where(exact, -2 * z, -d * z - h).sum() / s
        of_scale = np.where(exact, -2 * z**2, -d * z**2 - h * z).sum()
        curve = [[np.where(exact, -1, -d).sum() / s**2, mixed], [mixed, of_scale]]
        return float(value), np.array(slope), np.array(curve)

    at = np.array([y.mean(), np.log(y.std())])
    scatters = np.ptp(y[exact]) > 0 or (y[~exact] > y[exact].max()).any()
    for _ in range(200 if scatters else 0):
        value, slope, curve = derivatives(*at)
        move = -np.linalg.solve(curve, slope)
        if move @ slope <= 0:
            move = slope / np.abs(np.diag(curve)).max()
        while np.abs(move).max() > 1e-15 and not derivatives(*(at + move))[0] >= value - 1e-12:
            move = move / 2
        at = at + move
        if np.abs(move).max() < 1e-14:
            break
    if not scatters or np.exp(at[1]) < least:
        m = brentq(
            lambda m: derivatives(m, np.log(least))[1][0],
            y.min() - 40 * least,
            y.max() + 40 * least,
            xtol=1e-15,
        )
        worth = -derivatives(m, np.log(least))[2][0, 0] * least**2
        return np.exp(m + least**2 / 2), np.sqrt(np.expm1(least**2)), worth, exact.sum() - 1
    c = np.linalg.inv(-derivatives(*at)[2])
    s2 = np.exp(2 * at[1])
    v = s2 * y.size / (y.size - 1)
    of_mean = c[0, 0] + 2 * s2 * c[0, 1] + s2**2 * c[1, 1]
    freedom = max(0.5 / c[1, 1] - 1, 1)
    return np.exp(at[0] + v / 2), np.sqrt(np.expm1(v)), np.expm1(s2) / of_mean, freedom


def strength(load: Any, exact: Any, resolution_N: float) -> tuple[float, float, float, float]:
    """Mean, CV, pulls that it is worth and degrees of freedom of loads in newtons."""
    floor = resolution_N / np.sqrt(12)
    if not exact.all():
        return censored(np.log(load), exact, floor / load[exact].mean())
    return load.mean(), max(load.std(ddof=1), floor) / load.mean(), load.size, load.size - 1


def _who(tester: int, tyer: int) -> tuple[int, int]:
    """Who tied a set: the tester, or another, whose number is the same for all testers."""
    return (0, tyer) if tyer else (tester, 0)


class Archive:
    """The tables of a release, and what each set came to."""

    def __init__(self, folder: Path) -> None:
        def table(name: str) -> pd.DataFrame:
            return pd.read_csv(folder / f"{name}.csv", dtype={"spool": str})

        pulls = table("pulls")
        self.pulls = pulls[pulls.failure_mode != "void"]
        self.baselines = table("baselines").fillna({"spool": ""})
        self.sets = table("pull_sets").set_index("pull_set")
        self.sessions = table("sessions").set_index("session")
        self.revisions = table("revisions").set_index("revision")
        self.calibrations = table("calibrations").set_index("calibration")
        self.pools, self.members = table("pools").set_index("pool"), table("pool_sets")

    def testers(self, pool: int) -> int:
        """How many people tied the sets of a pool."""
        sets = self.sets.loc[self.members[self.members["pool"] == pool].pull_set]
        tester = self.sessions.loc[sets.session].tester
        return len({_who(*each) for each in zip(tester, sets.tyer, strict=True)})

    def rows(self, pool: int) -> pd.DataFrame:
        """Steps 1 to 3: a row for each set of a pool."""
        members = self.members[self.members["pool"] == pool]
        return pd.DataFrame([self._row(member) for member in members.itertuples()])

    def _row(self, member: Any) -> dict[str, Any]:
        one, bases = self.sets.loc[member.pull_set], self.baselines
        base = bases[bases.baseline == member.baseline].iloc[0]
        session = self.sessions.loc[one.session]
        rig = self.revisions.loc[session.revision]
        same = (bases.session == base.session) & (bases.line == base.line)
        straight_of = bases[same & (bases.spool == base.spool)].baseline
        calibrated = not np.isnan(member.calibration)
        line = self.calibrations.loc[int(member.calibration)] if calibrated else None

        def measured(pulls: pd.DataFrame, modes: list[str]) -> tuple[float, float, float, float]:
            reading = pulls.reading_N.to_numpy()
            load = reading if line is None else (reading - line.offset_N) / line.gain
            exact = pulls.failure_mode.isin(modes).to_numpy()
            return strength(load, exact, rig.resolution_N)

        mean, cv, worth, df = measured(
            self.pulls[self.pulls.pull_set == member.pull_set], EXACT["join"]
        )
        straight, straight_cv, straight_worth, straight_df = measured(
            self.pulls[self.pulls.baseline.isin(straight_of)], EXACT["straight"]
        )
        if line is not None:
            zero = line.u_offset_N / line.gain
        elif np.isnan(rig.capacity_N):
            zero = 0.03 * straight / np.sqrt(3)
        else:
            zero = max(rig.resolution_N, 0.01 * rig.capacity_N) / np.sqrt(3)
        who = _who(session.tester, one.tyer)
        return {
            "tester": who,
            "session": (*who, base.session),
            "baseline": (*who, member.baseline),
            "scale": (*who, calibrated, member.calibration if calibrated else session.revision),
            "product": (one.main_line, None if np.isnan(one.leader_line) else one.leader_line),
            "round": one["round"],
            "first": member.baseline,
            "log_ratio": np.log(mean / straight),
            "cv": cv,
            "worth": worth,
            "df": df,
            "straight_cv": straight_cv,
            "straight_worth": straight_worth,
            "straight_df": straight_df,
            "zero": zero * (1 / mean - 1 / straight),
            "zero_of_pulls": np.nan_to_num(one.zero_of_pulls_log),
            "missed_peak": np.nan_to_num(one.missed_peak_log),
        }


def together(groups: pd.Series) -> Any:
    """Matrix (k, k) of whether two sets are of one group; one of none is not with itself."""
    codes = pd.factorize(groups)[0]
    return ((codes[:, None] == codes) & (codes >= 0)).astype(float)


def crossed(rows: pd.DataFrame) -> list[str]:
    """What crosses the testers and is fitted: with two testers or more at three levels or more."""
    found: list[str] = []
    for factor in ("product", "round"):
        testers = rows[[factor, "tester"]].drop_duplicates()[factor].value_counts()
        groups = [(together(rows[other]) == together(rows[factor])).all() for other in found]
        if (testers >= 2).sum() >= 3 and not any(groups):
            found.append(factor)
    return found


def restricted(M: Any, y: Any) -> tuple[Any, float, float, float]:
    """P, the mean, its variance, and the restricted log-likelihood but a constant."""
    W = np.linalg.inv(M)
    of_all = W.sum(axis=1)
    variance = 1 / of_all.sum()
    P = W - np.outer(of_all, of_all) * variance
    value = -0.5 * (np.linalg.slogdet(M)[1] - np.log(variance) + y @ P @ y)
    return P, variance * float(of_all @ y), float(variance), float(value)


def components(V: Any, parts: list[Any], y: Any) -> Any:
    """Variances of the parts by restricted likelihood: Fisher's scoring, none below zero."""
    theta = np.full(len(parts), 0.1 * y.var())
    for _ in range(500):
        M = V + sum(each * part for each, part in zip(theta, parts, strict=True))
        P, _, _, value = restricted(M, y)
        turned = [P @ part for part in parts]
        slope = np.array([0.5 * (y @ t @ P @ y - np.trace(t)) for t in turned])
        free = (theta > 0) | (slope > 0)
        if not free.any():
            break
        expected = np.array([[0.5 * np.sum(a * b.T) for a in turned] for b in turned])
        move = np.zeros_like(theta)
        move[free] = np.linalg.solve(expected[np.ix_(free, free)], slope[free])
        for _ in range(60):
            after = np.maximum(theta + move, 0)
            M = V + sum(each * part for each, part in zip(after, parts, strict=True))
            if restricted(M, y)[3] >= value - 1e-13:
                break
            move = move / 2
        if np.abs(after - theta).max() <= 1e-15 * max(1.0, np.abs(y).max()):
            break
        theta = after
    return theta


def robust(M: Any, y: Any, tester: pd.Series) -> tuple[float, float]:
    """Standard error of the mean by CR2 with testers as clusters, and Satterthwaite's freedom."""
    _, mu, variance, _ = restricted(M, y)
    codes, adjusted = pd.factorize(tester)[0], []
    for number in range(codes.max() + 1):
        rows = codes == number
        own = M[np.ix_(rows, rows)]
        D = cholesky(own)
        B = D @ (own - variance) @ D.T
        values, vectors = np.linalg.eigh(B)
        kept = values > 1e-10 * values.max()
        root = (vectors[:, kept] / np.sqrt(values[kept])) @ vectors[:, kept].T
        a = np.zeros(y.size)
        a[rows] = (D.T @ root @ D).T @ np.linalg.solve(own, np.ones(rows.sum())) * variance
        adjusted.append(a)
    A = np.array(adjusted)
    G = A @ (M - variance) @ A.T
    return float(np.sqrt(((A @ (y - mu)) ** 2).sum())), float(np.trace(G) ** 2 / (G**2).sum())


def pooled(rows: pd.DataFrame) -> dict[str, float]:
    """Steps 4 to 9 of one pool."""
    once = rows.drop_duplicates("first")
    cv2 = np.average(rows.cv**2, weights=rows.df)
    straight_cv2 = np.average(once.straight_cv**2, weights=once.straight_df)
    a, b = (cv2 / rows.worth).to_numpy(), (straight_cv2 / rows.straight_worth).to_numpy()
    y = rows.log_ratio.to_numpy() + (a - b) / 2
    errors = rows[["zero", "zero_of_pulls", "missed_peak"]].to_numpy()
    V = np.diag(a + a**2 / 2) + together(rows.baseline) * (b + b**2 / 2)
    V = V + together(rows.scale) * (errors @ errors.T)
    testers, sessions = rows.tester.nunique(), rows.session.nunique()
    factors = crossed(rows)
    fitted = {
        "tau2_tester": together(rows.tester),
        **({"tau2_session": together(rows.session)} if sessions > testers else {}),
        **({"tau2_set": np.eye(len(rows))} if len(rows) > sessions else {}),
        **{f"tau2_{factor}": together(rows[factor]) for factor in factors},
    }
    theta = components(V, list(fitted.values()), y)
    M = V + sum(each * part for each, part in zip(theta, fitted.values(), strict=True))
    _, mu, variance, _ = restricted(M, y)
    P, _, _, _ = restricted(V, y)
    typical = (len(rows) - 1) / np.trace(P)
    found = {
        "mu": mu,
        "efficiency": np.exp(mu),
        "cv_join": np.sqrt(cv2),
        "cv_baseline": np.sqrt(straight_cv2),
        "se_model": np.sqrt(variance),
        "Q": y @ P @ y,
        **dict.fromkeys(("tau2_session", "tau2_set"), 0.0),
        **dict(zip(fitted, theta, strict=True)),
        "I2_total": theta.sum() / (theta.sum() + typical),
        "typical_sampling_variance": typical,
    }
    if not factors:
        found["se_robust"], found["df_satterthwaite"] = robust(M, y, rows.tester)
        reach = student.ppf(0.975, found["df_satterthwaite"]) * found["se_robust"]
        found |= {"interval_low": np.exp(mu - reach), "interval_high": np.exp(mu + reach)}
    return {name: float(value) for name, value in found.items()}


def main() -> int:
    """Print each pool's figures beside those published."""
    archive = Archive(Path(sys.argv[1] if len(sys.argv) > 1 else "."))
    worst = 0.0
    published = archive.pools[archive.pools.mu.notna()]
    for pool, of_pool in published.iterrows():
        found = pooled(archive.rows(pool))
        shared = [name for name in found if name in of_pool.index and pd.notna(of_pool[name])]
        apart = {name: abs(found[name] - of_pool[name]) for name in shared}
        scaled = {
            name: difference / max(abs(of_pool[name]), 1e-2 if name.startswith("tau2") else 0)
            for name, difference in apart.items()
        }
        where = max(scaled, key=lambda name: scaled[name])
        worst = max(worst, scaled[where])
        print(
            f"pool {pool}: mu {found['mu']:.10f}, published {of_pool.mu:.10f}; of {len(shared)} "
            f"figures {where} differs most, by {scaled[where]:.1e}"
        )
    without = archive.pools[archive.pools.mu.isna()]
    few = [pool for pool in without.index if archive.testers(pool) < 3]
    print(f"{len(few)} pools of fewer than three testers have none, as published")
    for pool in without.index.difference(few):
        print(f"pool {pool} has no figure either, as {without.no_figure[pool]}")
    print(f"{len(published)} pools, the largest difference is {worst:.1e}")
    return int(worst > TOLERANCE)


if __name__ == "__main__":
    sys.exit(main())
