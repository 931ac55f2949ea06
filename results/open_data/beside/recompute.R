# Every pool's two-stage figures from the pulls of this archive, by metafor.
#
#   Rscript recompute.R [FOLDER]
#
# Reads the readings and how they ended (pulls.csv), what was measured with what (sessions,
# baselines, pull_sets, revisions, calibrations, pool_sets), and of the figures that the service
# computed only what traces show, since traces are in files of their own; README.md says the same in
# words. Prints a line a pool and compares with pools.csv; the exit status is 1 where a mean or a
# variance differs by more than 1e-8 of the mean's scale. Needs R 4 and metafor (on Debian: apt-get install r-cran-metafor).
suppressPackageStartupMessages(library(metafor))
arguments <- commandArgs(trailingOnly = TRUE)
folder <- if (length(arguments)) arguments[1] else "."
table.of <- function(name) read.csv(file.path(folder, paste0(name, ".csv")), encoding = "UTF-8")
or.none <- function(number) ifelse(is.na(number), 0, number)
at <- function(rows, key, values) rows[match(values, rows[[key]]), ]
# Who tied: the tester, or another, whose number is the same for all testers.
tied.by <- function(tester, tyer) paste(ifelse(tyer > 0, "tyer", tester), tyer)

pulls <- table.of("pulls"); baselines <- table.of("baselines"); sessions <- table.of("sessions")
sets <- table.of("pull_sets"); revisions <- table.of("revisions")
calibrations <- table.of("calibrations"); pools <- table.of("pools")
members <- table.of("pool_sets")
pulls <- pulls[pulls$failure_mode != "void", ]
baselines$spool <- ifelse(is.na(baselines$spool), "", as.character(baselines$spool))

# The lognormal fit by maximum likelihood where some loads are only 'at least' (step 3).
censored <- function(load, exact, floor) {
  y <- log(load); n <- length(y)
  parts <- function(m, l) {
    s <- exp(l); z <- (y - m) / s
    h <- exp(dnorm(z, log = TRUE) - pnorm(z, lower.tail = FALSE, log.p = TRUE)); d <- h * (h - z)
    list(
      value = sum(ifelse(exact, -l - z^2 / 2, pnorm(z, lower.tail = FALSE, log.p = TRUE))),
      slope = c(sum(ifelse(exact, z, h)) / s, sum(ifelse(exact, z^2 - 1, h * z))),
      curve = matrix(c(
        sum(ifelse(exact, -1, -d)) / s^2, rep(sum(ifelse(exact, -2 * z, -d * z - h)) / s, 2),
        sum(ifelse(exact, -2 * z^2, -d * z^2 - h * z))), 2))
  }
  least <- floor / mean(load[exact])
  scatters <- max(y[exact]) > min(y[exact]) || any(y[!exact] > max(y[exact]))
  at <- c(mean(y), log(sd(y)))
  for (step in if (scatters) 1:200 else integer()) {
    now <- parts(at[1], at[2])
    move <- tryCatch(-solve(now$curve, now$slope), error = function(e) now$slope)
    if (sum(move * now$slope) <= 0) move <- now$slope / max(abs(diag(now$curve)))
    while (!isTRUE(parts(at[1] + move[1], at[2] + move[2])$value >= now$value - 1e-12) &&
           max(abs(move)) > 1e-15) move <- move / 2
    at <- at + move
    if (max(abs(move)) < 1e-14) break
  }
  if (!scatters || exp(at[2]) < least) {  # the scatter is held at that of the resolution
    m <- uniroot(function(m) parts(m, log(least))$slope[1], range(y) + c(-1, 1) * least,
                 extendInt = "downX", tol = 1e-14)$root
    return(list(mean = exp(m + least^2 / 2), cv = sqrt(expm1(least^2)),
                worth = -parts(m, log(least))$curve[1, 1] * least^2, df = sum(exact) - 1))
  }
  covariance <- solve(-parts(at[1], at[2])$curve); s2 <- exp(2 * at[2]); v <- s2 * n / (n - 1)
  of.mean <- covariance[1, 1] + 2 * s2 * covariance[1, 2] + s2^2 * covariance[2, 2]
  list(mean = exp(at[1] + v / 2), cv = sqrt(expm1(v)), worth = expm1(s2) / of.mean,
       df = max(0.5 / covariance[2, 2] - 1, 1))
}
strength <- function(load, exact, resolution) {
  floor <- resolution / sqrt(12)
  if (!all(exact)) return(censored(load, exact, floor))
  spread <- max(sd(load), floor)
  list(mean = mean(load), cv = spread / mean(load), worth = length(load), df = length(load) - 1)
}

# Steps 1 to 3 of one set of a pool.
of.set <- function(member) {
  set <- at(sets, "pull_set", member$pull_set); base <- at(baselines, "baseline", member$baseline)
  session <- at(sessions, "session", set$session)
  rig <- at(revisions, "revision", session$revision)
  line <- at(calibrations, "calibration", member$calibration)
  to.load <- function(reading) if (is.na(member$calibration)) reading else
    (reading - line$offset_N) / line$gain
  own <- pulls[which(pulls$pull_set == set$pull_set), ]
  same <- baselines$baseline[baselines$session == base$session & baselines$line == base$line &
                             baselines$spool == base$spool]
  straight <- pulls[which(pulls$baseline %in% same), ]
  join <- strength(to.load(own$reading_N),
                   own$failure_mode %in% c("join", "slip", "line", "terminal"), rig$resolution_N)
  plain <- strength(to.load(straight$reading_N), straight$failure_mode == "line",
                    rig$resolution_N)
  zero <- if (!is.na(member$calibration)) line$u_offset_N / line$gain else
    if (!is.na(rig$capacity_N)) max(rig$resolution_N, 0.01 * rig$capacity_N) / sqrt(3) else
    0.03 * plain$mean / sqrt(3)
  who <- tied.by(session$tester, set$tyer)
  data.frame(
    tester = who, session = paste(who, base$session),
    baseline = paste(who, member$baseline), set = set$pull_set,
    first = member$baseline, product = paste(set$main_line, set$leader_line), round = set$round,
    scale = paste(who, if (is.na(member$calibration))
      paste("revision", session$revision) else paste("calibration", member$calibration)),
    mean = join$mean, cv = join$cv, worth = join$worth, df = join$df, base.mean = plain$mean,
    base.cv = plain$cv, base.worth = plain$worth, base.df = plain$df,
    zero = zero * (1 / join$mean - 1 / plain$mean),
    zero.of.pulls = or.none(set$zero_of_pulls_log), missed.peak = or.none(set$missed_peak_log))
}

# Steps 4 to 7 of one pool.
# Sets of none are in no group, not even with themselves.
together <- function(group) {
  same <- outer(group, group, "==")
  same[is.na(same)] <- FALSE
  same
}
# What crosses the testers and is fitted: with two testers or more at three levels or more.
crossed <- function(rows) {
  found <- character()
  for (factor in c("product", "round")) {
    testers <- table(unique(rows[c(factor, "tester")])[[factor]])
    again <- sapply(found, function(other) all(together(rows[[other]]) == together(rows[[factor]])))
    if (sum(testers >= 2) >= 3 && !any(as.logical(again))) found <- c(found, factor)
  }
  found
}
# metafor's search ends some 1e-5 of a variance short of the maximum; Fisher's scoring from there,
# none below zero, goes to the last digits of the same likelihood.
sharpened <- function(fit, fixed, factors, rows, y) {
  names <- c("tester", "session", "set", factors)
  start <- c(fit$sigma2, rep(max(fit$sigma2) / 4, length(factors)))
  fitted <- which(is.na(fixed)); theta <- ifelse(start < 1e-8, 0, start)
  parts <- lapply(names, function(name) together(rows[[name]]))
  for (step in 1:100) {
    W <- solve(fit$V + Reduce(`+`, Map(`*`, theta, parts)))
    P <- W - outer(rowSums(W), rowSums(W)) / sum(W)
    turned <- lapply(parts, function(part) P %*% part)
    slope <- sapply(turned, function(t) (c(y %*% t %*% P %*% y) - sum(diag(t))) / 2)
    free <- fitted[theta[fitted] > 0 | slope[fitted] > 0]
    if (!length(free)) break
    expected <- outer(free, free, Vectorize(function(i, j) sum(turned[[i]] * t(turned[[j]])) / 2))
    after <- theta
    after[free] <- pmax(theta[free] + solve(expected, slope[free]), 0)
    done <- max(abs(after - theta)) < 1e-15
    theta <- after
    if (done) break
  }
  theta
}
pooled <- function(rows) {
  once <- !duplicated(rows$first)
  cv2 <- sum(rows$df * rows$cv^2) / sum(rows$df)
  base.cv2 <- sum((rows$base.df * rows$base.cv^2)[once]) / sum(rows$base.df[once])
  a <- cv2 / rows$worth; b <- base.cv2 / rows$base.worth; k <- nrow(rows)
  y <- log(rows$mean / rows$base.mean) + (a - b) / 2
  V <- diag(a + a^2 / 2, k) + together(rows$baseline) * (b + b^2 / 2) +
    together(rows$scale) * tcrossprod(as.matrix(rows[c("zero", "zero.of.pulls", "missed.peak")]))
  count <- function(column) length(unique(rows[[column]]))
  factors <- crossed(rows)
  fixed <- c(NA, if (count("session") > count("tester")) NA else 0,
             if (k > count("session")) NA else 0, rep(NA, length(factors)))
  random <- list(~ 1 | tester, ~ 1 | session, ~ 1 | set)
  first <- rma.mv(y, V, random = random, sigma2 = fixed[1:3], data = rows, sparse = FALSE)
  theta <- sharpened(first, fixed, factors, rows, y)
  # A random effect that some sets have none of goes into the covariance.
  of.factors <- Reduce(`+`, Map(function(name, variance) variance * together(rows[[name]]),
                                factors, theta[-(1:3)]), 0 * V)
  fit <- rma.mv(y, V + of.factors, random = random, sigma2 = theta[1:3], data = rows,
                sparse = FALSE)
  c(cv_join = sqrt(cv2), cv_baseline = sqrt(base.cv2), mu = coef(fit)[[1]], se_model = fit$se,
    tau2_tester = fit$sigma2[1], tau2_session = fit$sigma2[2], tau2_set = fit$sigma2[3],
    Q = first$QE, restricted_loglik = as.numeric(logLik(fit)))
}

worst <- 0
cat("pool,mu,published,tau2_tester,tau2_session,tau2_set,difference\n")
for (pool in pools$pool[!is.na(pools$mu)]) {
  of.pool <- members[members$pool == pool, ]
  figures <- pooled(do.call(rbind, lapply(seq_len(nrow(of.pool)), function(i) of.set(of.pool[i, ]))))
  published <- at(pools, "pool", pool)
  shared <- intersect(names(figures), names(published))
  scale <- ifelse(grepl("^tau2", shared), max(abs(unlist(published[grepl("^tau2_[a-z]+$", names(published))])), 1e-3), 1)
  difference <- max(abs(figures[shared] - unlist(published[shared])) / pmax(scale, abs(unlist(published[shared]))))
  worst <- max(worst, difference)
  cat(pool, sprintf("%.12g", c(figures["mu"], published$mu, figures[c("tau2_tester", "tau2_session", "tau2_set")])),
      sprintf("%.1e", difference), sep = ","); cat("\n")
}
few <- 0
for (pool in pools$pool[is.na(pools$mu)]) {
  of.pool <- at(sets, "pull_set", members$pull_set[members$pool == pool])
  who <- tied.by(at(sessions, "session", of.pool$session)$tester, of.pool$tyer)
  if (length(unique(who)) < 3) few <- few + 1 else
    cat("pool", pool, "has no figure either, as", at(pools, "pool", pool)$no_figure, "\n")
}
cat(few, "pools of fewer than three testers have none, as published\n")
cat(sprintf("%d pools, the largest difference is %.1e\n", sum(!is.na(pools$mu)), worst))
quit(status = if (worst > 1e-8) 1 else 0)
