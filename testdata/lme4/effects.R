# Makes the crossed designs of this directory and their effects by lme4.
#
#     Rscript effects.R        (in this directory)
#
# Model, on one slot: cents ~ 1 + (1|horn) + (1|mouthpiece) + (1|player), REML.

suppressPackageStartupMessages(library(lme4))
options(digits = 17)

horns <- c("Alder", "Rowan", "Hazel", "Aspen", "Birch", "Cedar")
mouthpieces <- c("Plover 16.2", "Dunlin 16.6", "Knot 16.4", "Curlew 17.0", "Turnstone 16.0", "Avocet 16.8", "Godwit 16.5")
players <- c("reed-otter", "blue-kite", "moss-heron", "slate-wren", "amber-fox")

# One row a reading: incomplete, with repeats, labels as given.
draw <- function(seed, horns, mouthpieces, players, rows, sd) {
  set.seed(seed)
  effect <- function(labels, sd) setNames(rnorm(length(labels), 0, sd), labels)
  h <- effect(horns, sd["horn"]); m <- effect(mouthpieces, sd["mouthpiece"]); p <- effect(players, sd["player"])
  popular <- function(labels) sample(labels, rows, replace = TRUE, prob = 1 / seq_along(labels)^0.7)
  # every level at least once
  cover <- function(labels) { x <- popular(labels); x[sample(rows, length(labels))] <- labels; x }
  d <- data.frame(horn = cover(horns), mouthpiece = cover(mouthpieces), player = cover(players))
  d$cents <- round(7 + h[d$horn] + m[d$mouthpiece] + p[d$player] + rnorm(rows, 0, sd["residual"]), 1)
  d
}

number <- function(x) trimws(formatC(x, digits = 17, format = "g"))

fit <- function(name, d) {
  write.csv(d, paste0(name, ".csv"), row.names = FALSE, quote = FALSE)
  model <- lmer(cents ~ 1 + (1 | horn) + (1 | mouthpiece) + (1 | player), d, REML = TRUE,
    control = lmerControl(optimizer = "nloptwrap", optCtrl = list(xtol_abs = 1e-12, ftol_abs = 1e-12, xtol_rel = 1e-12, ftol_rel = 1e-14, maxeval = 1e5)))
  stopifnot(!isSingular(model))
  v <- as.data.frame(VarCorr(model))
  scalars <- data.frame(
    quantity = c("intercept", "intercept_se", paste0("variance_", ifelse(v$grp == "Residual", "residual", v$grp)), "reml_criterion"),
    value = number(c(fixef(model), sqrt(diag(as.matrix(vcov(model)))), v$vcov, REMLcrit(model))))
  write.csv(scalars, paste0(name, "-scalars.csv"), row.names = FALSE, quote = FALSE)
  effects <- do.call(rbind, lapply(c("horn", "mouthpiece", "player"), function(g) {
    r <- ranef(model, condVar = TRUE)[[g]]
    data.frame(factor = g, label = rownames(r), effect = number(r[, 1]), conditional_sd = number(sqrt(attr(r, "postVar")[1, 1, ])))
  }))
  write.csv(effects, paste0(name, "-effects.csv"), row.names = FALSE, quote = FALSE)
  cat(name, ":", nrow(d), "rows\n"); print(v)
}

fit("small", draw(6, horns, mouthpieces, players, 48, c(horn = 6, mouthpiece = 4, player = 3, residual = 3.5)))
fit("large", draw(2, sprintf("H%02d", 1:60), sprintf("M%02d", 1:80), sprintf("P%02d", 1:50), 3000,
  c(horn = 6, mouthpiece = 3.5, player = 4.5, residual = 4)))

writeLines(c(R.version.string, paste("lme4", packageVersion("lme4")), paste("Matrix", packageVersion("Matrix")),
  R.version$platform, paste("BLAS", basename(extSoftVersion()["BLAS"]))), "versions.txt")
