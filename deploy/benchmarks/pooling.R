# Times metafor on the sets of a CSV file (y, own, shared, tester, session, set); prints CSV rows.
# The stopping rule is tightened: the default one leaves the variances off by up to 1e-4.
suppressPackageStartupMessages({library(metafor); library(Matrix)})
arguments <- commandArgs(trailingOnly = TRUE)
sets <- read.csv(arguments[1])
wanted <- arguments[-1]
control <- list(optimizer = "optim", optmethod = "BFGS", reltol = 1e-14, maxit = 1000)

V <- bdiag(lapply(split(sets, factor(sets$session, unique(sets$session))), function(s)
  diag(s$own, nrow(s)) + s$shared[1]))
multilevel <- function(sparse, control) {
  covariance <- if (sparse) V else as.matrix(V)
  seconds <- system.time(fit <- rma.mv(y, covariance, random = ~ 1 | tester/session/set,
    data = sets, sparse = sparse, control = control))[["elapsed"]]
  c(seconds, coef(fit), fit$sigma2, as.numeric(logLik(fit)))
}
two.level <- function() {
  seconds <- system.time(fit <- rma.uni(y, own + shared, data = sets, method = "REML",
    control = list(threshold = 1e-13, maxiter = 1000)))[["elapsed"]]
  c(seconds, coef(fit), fit$tau2, 0, 0, as.numeric(logLik(fit)))
}
say <- function(name, figures) cat(name, format(figures, digits = 15), sep = ",", fill = 1000)
if ("versions" %in% wanted)
  cat("metafor", as.character(packageVersion("metafor")), "R", as.character(getRversion()),
      "BLAS", extSoftVersion()[["BLAS"]], "LAPACK", La_library(), "\n")
if ("uni" %in% wanted) say("metafor rma.uni", two.level())
if ("default" %in% wanted) say("metafor rma.mv sparse default stop", multilevel(TRUE, list()))
if ("sparse" %in% wanted) say("metafor rma.mv sparse", multilevel(TRUE, control))
if ("dense" %in% wanted) say("metafor rma.mv dense", multilevel(FALSE, control))
