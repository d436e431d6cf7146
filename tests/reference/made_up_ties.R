# Invented episodes with many ties, and the figures that the tests quote for them.
# R 4.2.2, survival 3.5-3, cmprsk 2.2-11. Run: Rscript made_up_ties.R in this folder.
# R is for making these figures again; neither the pipeline nor its tests need it.
library(survival); library(cmprsk)

set.seed(5)
n <- 400
g <- sample(1:4, n, TRUE); s <- sample(1:3, n, TRUE)
t <- pmin(round(rweibull(n, 1.5, 60 + 10 * g) / 4) * 4 + 4, 96)
st <- sample(0:3, n, TRUE, prob = c(.15, .4, .3, .15)); st[t >= 96 & runif(n) < .5] <- 0
x <- rnorm(n); z <- round(runif(n, 0, 18)); cl <- sample(1:250, n, TRUE)
d <- data.frame(t, st, g, s, x = round(x, 2), z, cl)
write.csv(d, "data/made_up_ties.csv", row.names = FALSE)
digits <- function(v) print(v, digits = 15)

digits(survdiff(Surv(t, st > 0) ~ g, d)$chisq)
digits(survdiff(Surv(t, st > 0) ~ g + strata(s), d)$chisq)
with(d, digits(cuminc(t, st, g)$Tests))
with(d, digits(cuminc(t, st, g, strata = s)$Tests))

exact <- coxph.control(eps = 1e-13, toler.chol = 1e-14, iter.max = 50)
clustered <- coxph(Surv(t, st == 1) ~ x + z + factor(g) + cluster(cl), d, control = exact)
digits(coef(clustered))
digits(sqrt(diag(clustered$naive.var)))
digits(sqrt(diag(clustered$var)))
digits(clustered$loglik)
plain <- coxph(Surv(t, st == 1) ~ x + z + factor(g), d, control = exact)
print(cox.zph(plain)$table, digits = 12)
print(cox.zph(plain, transform = "identity")$table, digits = 12)
digits(summary(survfit(plain, data.frame(x = 0, z = 9, g = 1)), times = 72)$cumhaz)

within <- coxph(Surv(t, st == 1) ~ x + z + factor(g) + strata(s) + cluster(cl), d,
                control = exact)
digits(coef(within))
digits(sqrt(diag(within$naive.var)))
digits(sqrt(diag(within$var)))
digits(within$loglik)
strata_alone <- coxph(Surv(t, st == 1) ~ x + z + factor(g) + strata(s), d, control = exact)
print(cox.zph(strata_alone)$table, digits = 12)
digits(summary(survfit(strata_alone, data.frame(x = 0, z = 9, g = 1, s = 1:3)), times = 72)$cumhaz)
for (fit in list(plain, strata_alone)) {
  agreement <- concordance(fit, cluster = d$cl)
  digits(c(agreement$concordance, sqrt(agreement$var)))
}

X <- model.matrix(~ x + z + factor(g), d)[, -1]
one <- with(d, crr(t, st, X, gtol = 1e-13, maxiter = 50))
digits(one$coef); digits(sqrt(diag(one$var))); digits(one$loglik)
grouped <- with(d, crr(t, st, X, cengroup = s, gtol = 1e-13, maxiter = 50))
digits(grouped$coef); digits(sqrt(diag(grouped$var)))
digits(predict(one, rbind(c(0, 9, 0, 0, 0)))[c(5, 10, 18), ])

# A normal random effect of 8 invented levels, its variance by restricted likelihood.
set.seed(5)
level <- sample(letters[1:8], 1500, TRUE)
effect <- setNames(rnorm(8, 0, 0.4), letters[1:8])
age <- sample(1:16, 1500, TRUE)
glue <- rbinom(1500, 1, 0.4)
out <- rexp(1500, 0.006 * exp(-0.05 * (age - 8) - 0.5 * glue + effect[level]))
end <- runif(1500, 40, 100)
random <- data.frame(hours = ceiling(pmin(out, end)), event = as.integer(out < end), age, glue, level)
write.csv(random, "data/random_effect_invented.csv", row.names = FALSE, quote = FALSE)
strict <- coxph.control(eps = 1e-12, toler.chol = 1e-14, iter.max = 50, outer.max = 200)
penalised <- coxph(
  Surv(hours, event) ~ age + glue +
    frailty(level, distribution = "gaussian", sparse = FALSE, method = "reml", eps = 1e-10),
  random, control = strict
)
digits(penalised$history[[1]]$theta)
digits(coef(penalised))
digits(sqrt(diag(penalised$var)))
digits(penalised$loglik)
