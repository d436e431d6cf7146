# Reference figures for adjusted ratios and shrunken estimates.
# Run in tests/reference: Rscript case_mix.R
# Reads data/case_mix_invented.csv (invented counts), writes data/case_mix_r.csv.
# Made with R 4.2.2, lme4 1.1-31.
suppressPackageStartupMessages(library(lme4))
d <- read.csv("data/case_mix_invented.csv", colClasses = c(planned_dwell_h = "character"))
out <- data.frame()
put <- function(measure, site, quantity, value)
  out <<- rbind(out, data.frame(measure, site, quantity, value = sprintf("%.12g", value)))

form <- ~ age_years + nerve_target + planned_dwell_h
sites <- sort(unique(d$site))
control <- glm.control(epsilon = 1e-14, maxit = 50)
for (measure in c("dislodgement", "leakage")) {
  rate <- measure == "leakage"
  d$y <- if (rate) d$leakage_contacts else d$dislodged
  d$n <- if (rate) d$catheter_days else d$catheters
  table <- data.frame()
  for (s in sites) {
    train <- d[d$site != s, ]; test <- d[d$site == s, ]
    fit <- if (rate)
      glm(update(form, y ~ . + offset(log(n))), poisson, train, control = control)
    else glm(update(form, cbind(y, n - y) ~ .), binomial, train, control = control)
    each <- predict(fit, test, type = "response") * if (rate) 1 else test$n
    X <- model.matrix(form, rbind(train, test))[nrow(train) + seq_len(nrow(test)), ]
    slope <- colSums((if (rate) each else each * (1 - each / test$n)) * X)
    put(measure, s, "expected", sum(each))
    put(measure, s, "expected_variance", drop(slope %*% vcov(fit) %*% slope))
    table <- rbind(table, data.frame(site = s, o = sum(test$y), e = sum(each), n = sum(test$n)))
  }
  # Groups as random effects, expected numbers as offset; the intercept shows how
  # far the offset is from the groups' mean.
  for (tau in c(0.1, 0.3, 0.6)) {
    likelihood <- function(i, u) {
      with(table[i, ], if (rate) dpois(o, e * exp(u))
           else dbinom(o, n, plogis(qlogis(e / n) + u)))
    }
    total <- 0
    for (i in seq_len(nrow(table))) {
      f <- function(u) likelihood(i, u) * dnorm(u, 0, tau)
      m <- integrate(f, -4, 4, rel.tol = 1e-11, subdivisions = 2000)$value
      mean <- integrate(function(u) u * f(u), -4, 4, rel.tol = 1e-11, subdivisions = 2000)$value / m
      above <- integrate(f, 0, 4, rel.tol = 1e-11, subdivisions = 2000)$value / m
      put(measure, table$site[i], sprintf("shift at %.1f", tau), mean)
      put(measure, table$site[i], sprintf("above at %.1f", tau), above)
      total <- total + log(m)
    }
    put(measure, "all", sprintf("log likelihood at %.1f", tau), total)
  }
  # The spread that fits best, by lme4 with 25-point adaptive quadrature.
  table$base <- if (rate) log(table$e) else qlogis(table$e / table$n)
  mixed <- if (rate)
    glmer(o ~ 1 + (1 | site), table, poisson, offset = base, nAGQ = 25)
  else glmer(cbind(o, n - o) ~ 1 + (1 | site), table, binomial, offset = base, nAGQ = 25)
  put(measure, "all", "lme4 intercept", fixef(mixed)[[1]])
  put(measure, "all", "lme4 spread", sqrt(VarCorr(mixed)$site[1]))
}
write.csv(out, "data/case_mix_r.csv", row.names = FALSE, quote = FALSE)
