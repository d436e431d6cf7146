# Recurrences of bladder tumours: mean cumulative function and Andersen-Gill regression.
# R 4.2.2, survival 3.5-3. Run: Rscript recurrent.R in this folder.
# R is for making these figures again; neither the pipeline nor its tests need it.
library(survival)
write.csv(bladder2[, c("id", "rx", "number", "size", "start", "stop", "event")],
          "data/bladder2_survival.csv", row.names = FALSE)
digits <- function(v) print(v, digits = 15)

curve <- survfit(Surv(start, stop, event) ~ rx, bladder2, id = id)
at <- summary(curve, times = c(6, 12, 24, 48))
digits(cbind(at$strata, at$time, at$n.risk, at$cumhaz, at$std.chaz))

exact <- coxph.control(eps = 1e-13, toler.chol = 1e-14, iter.max = 50)
fit <- coxph(Surv(start, stop, event) ~ rx + number + size + cluster(id), bladder2,
             control = exact)
digits(coef(fit))
digits(sqrt(diag(fit$naive.var)))
digits(sqrt(diag(fit$var)))
digits(fit$loglik)

# Each patient's first to fourth recurrence as a stratum of its own, all from entry.
marginal <- coxph(Surv(stop, event) ~ rx + number + size + strata(enum) + cluster(id), bladder,
                  control = exact)
digits(coef(marginal))
digits(sqrt(diag(marginal$naive.var)))
digits(sqrt(diag(marginal$var)))
digits(marginal$loglik)
