# Crossed random effects note by note: for every slot
#     cents ~ 1 + (1|horn) + (1|mouthpiece) + (1|player)
# with (1|horn_design) + (1|mouthpiece_design) where items have designs.
#
#     Rscript lme4.R READINGS.csv EFFECTS.csv
#
# In: slot, cents (session shifts removed), horn, mouthpiece, player,
# horn_design, mouthpiece_design (empty where there are no designs).
# Out: slot, factor, level, effect, variance: the intercept (level empty), the
# predicted effects with their conditional variances, and for each factor a row
# of level "*" with the variance of a level that has no readings.

suppressPackageStartupMessages(library(lme4))
arguments <- commandArgs(trailingOnly = TRUE)
data <- read.csv(arguments[1], colClasses = c(slot = "integer", cents = "numeric"), stringsAsFactors = TRUE)
factors <- c("horn", "mouthpiece", "player")
if (any(!is.na(data$horn_design) & data$horn_design != "")) factors <- c(factors, "horn_design", "mouthpiece_design")

one <- function(d) {
  usable <- factors[sapply(factors, function(f) { n <- nlevels(droplevels(d[[f]])); n > 1 && n < nrow(d) })]
  row <- function(factor, level, effect, variance) data.frame(slot = d$slot[1], factor, level, effect, variance)
  if (length(usable) == 0) return(row("intercept", "", mean(d$cents), if (nrow(d) > 1) var(d$cents) / nrow(d) else 25))
  model <- suppressMessages(suppressWarnings(lmer(
    as.formula(paste("cents ~ 1 +", paste0("(1|", usable, ")", collapse = " + "))), d,
    control = lmerControl(calc.derivs = FALSE))))
  effects <- ranef(model, condVar = TRUE)
  out <- list(row("intercept", "", fixef(model), vcov(model)[1, 1]))
  for (f in usable) {
    r <- effects[[f]]
    out[[length(out) + 1]] <- row(f, rownames(r), r[, 1], attr(r, "postVar")[1, 1, ])
    out[[length(out) + 1]] <- row(f, "*", 0, VarCorr(model)[[f]][1, 1])
  }
  do.call(rbind, out)
}

write.csv(do.call(rbind, lapply(split(data, data$slot), one)), arguments[2], row.names = FALSE)
