# Reference figures for removal models with missing terms imputed by chained equations.
# Run in tests/reference: Rscript imputed_model.R
# Writes data/imputed_model_invented.csv (invented) and data/imputed_model_r.csv.
# Made with R 4.2.2, mice 3.15.0, survival 3.5.3, cmprsk 2.2.11.
suppressPackageStartupMessages({library(mice); library(survival); library(cmprsk)})
set.seed(31)
n <- 1200
age <- sample(1:16, n, TRUE)
limb <- sample(c("lower", "trunk", "upper"), n, TRUE, c(0.5, 0.2, 0.3))
glue <- rbinom(n, 1, plogis(-0.5 + 0.08 * age))
first <- rexp(n, 0.006 * exp(-0.06 * age + 0.5 * (limb == "upper") - 0.6 * glue))
other <- rexp(n, 0.008 * exp(0.03 * age))
end <- runif(n, 40, 100)
hours <- ceiling(pmin(first, other, end))
kind <- ifelse(first < pmin(other, end), 1, ifelse(other < end, 2, 0))
d <- data.frame(hours, kind, age, limb, glue)
d$age[runif(n) < plogis(-1.9 + 0.6 * (kind == 1))] <- NA
d$limb[runif(n) < 0.12] <- NA
d$glue[runif(n) < plogis(-1.8 + 0.9 * (kind == 1) - 0.5 * (limb == "upper"))] <- NA
write.csv(d, "data/imputed_model_invented.csv", row.names = FALSE, quote = FALSE)

cumulative <- function(of) {
  fit <- survfit(Surv(hours, kind == of) ~ 1, data = d)
  approx(fit$time, cumsum(fit$n.event / fit$n.risk), d$hours, method = "constant", f = 0)$y
}
x <- data.frame(
  age = d$age, limb = factor(d$limb), glue = factor(d$glue),
  D1 = as.numeric(kind == 1), H1 = cumulative(1), D2 = as.numeric(kind == 2), H2 = cumulative(2)
)
m <- 400
made <- mice(
  x, m = m, maxit = 5, method = c("pmm", "polyreg", "logreg", "", "", "", ""),
  printFlag = FALSE, seed = 7
)
names <- c("age", "limbtrunk", "limbupper", "glue1")
fitted <- list(cox = NULL, finegray = NULL)
for (i in seq_len(m)) {
  one <- complete(made, i)
  fit <- coxph(Surv(hours, kind == 1) ~ age + limb + glue, data = cbind(one, hours, kind), robust = TRUE)
  fitted$cox <- rbind(fitted$cox, cbind(t(coef(fit)), t(diag(vcov(fit)))))
  fit <- crr(hours, kind, model.matrix(~ age + limb + glue, one)[, -1])
  fitted$finegray <- rbind(fitted$finegray, cbind(t(fit$coef), t(diag(fit$var))))
}
out <- NULL
for (model in c("cox", "finegray")) for (j in 1:4) {
  p <- pool.scalar(fitted[[model]][, j], fitted[[model]][, 4 + j], n = Inf, k = 1)
  out <- rbind(out, data.frame(
    model, term = names[j], estimate = p$qbar, error = sqrt(p$t), between = p$b
  ))
}
write.csv(out, "data/imputed_model_r.csv", row.names = FALSE, quote = FALSE)
print(out)
cat(R.version.string, "mice", as.character(packageVersion("mice")), "survival",
  as.character(packageVersion("survival")), "cmprsk", as.character(packageVersion("cmprsk")), "\n")
