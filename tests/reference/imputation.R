# Reference figures for multiple imputation of missing numerators.
# Run in tests/reference: Rscript imputation.R
# Writes data/imputation_invented.csv (invented) and data/imputation_r.csv.
# Made with R 4.2.2, mice 3.15.0.
suppressPackageStartupMessages(library(mice))
set.seed(20)
n <- 1500
site <- sample(c("avocet", "curlew", "dunlin"), n, TRUE, c(0.5, 0.3, 0.2))
band <- sample(c("young", "middle", "old"), n, TRUE)
eta <- -1.6 + 0.5 * (site == "curlew") + 0.9 * (site == "dunlin") + 0.6 * (band == "young")
y <- rbinom(n, 1, plogis(eta))
gone <- rbinom(n, 1, plogis(-1.5 + 0.9 * (site == "dunlin") + 0.7 * (band == "young")))
y[gone == 1] <- NA
d <- data.frame(site, band, y)
write.csv(d, "data/imputation_invented.csv", row.names = FALSE, quote = FALSE)

d$site <- factor(d$site)
d$band <- factor(d$band, levels = c("middle", "old", "young"))
d$y <- factor(d$y)
m <- 2000
made <- mice(d, m = m, maxit = 1, method = c("", "", "logreg"), printFlag = FALSE, seed = 1)
fits <- with(made, glm(y ~ site + band, family = binomial))
pooled <- summary(pool(fits))
own <- pool(fits)$pooled
out <- data.frame(
  quantity = as.character(pooled$term), estimate = pooled$estimate, error = pooled$std.error,
  between = own$b, within = own$ubar
)
# Rubin's rules on a few numbers, to the last digit.
Q <- c(0.31, 0.42, 0.28, 0.35, 0.39); U <- c(0.010, 0.012, 0.009, 0.011, 0.010)
scalar <- pool.scalar(Q, U, n = Inf, k = 1)
rules <- data.frame(
  quantity = c("qbar", "ubar", "b", "t", "df", "fmi"),
  value = c(scalar$qbar, scalar$ubar, scalar$b, scalar$t, scalar$df, scalar$fmi)
)
write.csv(out, "data/imputation_r.csv", row.names = FALSE, quote = FALSE)
write.csv(format(rules, digits = 15), "data/imputation_rules_r.csv", row.names = FALSE, quote = FALSE)
cat(R.version.string, as.character(packageVersion("mice")), "\n")
