# Reference figures for accelerated failure time fitted to intervals.
# Run in tests/reference: Rscript intervals.R
# Reads data/intervals_invented.csv (invented hours), writes data/intervals_r.csv.
# Made with R 4.2.2, survival 3.5-3.
library(survival)
d <- read.csv("data/intervals_invented.csv")
d$before[is.infinite(d$before)] <- NA
d$after[d$after == 0] <- NA
out <- data.frame()
for (law in c("weibull", "lognormal", "loglogistic")) {
  f <- survreg(Surv(after, before, type = "interval2") ~ age + glue, d, weights = n, dist = law,
               control = survreg.control(rel.tolerance = 1e-12, maxiter = 100))
  out <- rbind(out, data.frame(law, term = c("intercept", "age", "glue", "log_scale"),
    coefficient = c(coef(f), log(f$scale)), se = sqrt(diag(vcov(f))), log_likelihood = f$loglik[2]))
}
for (name in c("coefficient", "se", "log_likelihood")) out[[name]] <- signif(out[[name]], 12)
write.csv(out, "data/intervals_r.csv", row.names = FALSE, quote = FALSE)
