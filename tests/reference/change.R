# Reference figures for segmented regression and difference in differences.
# Run in tests/reference: Rscript change.R
# Reads data/change_invented.csv (invented counts), writes data/change_r.csv.
# Made with R 4.2.2.
d <- read.csv("data/change_invented.csv")
change <- 14
out <- data.frame()
put <- function(model, term, fit) {
  s <- summary(fit)$coefficients[term, ]
  q <- qt(0.975, fit$df.residual)
  out <<- rbind(out, data.frame(model, term, ratio = exp(s[[1]]),
    lower = exp(s[[1]] - q * s[[2]]), upper = exp(s[[1]] + q * s[[2]]),
    scale = summary(fit)$dispersion))
}
one <- aggregate(cbind(leaks, days, dislodged, catheters) ~ month, d[d$site == "godwit", ], sum)
one$t <- one$month - change; one$a <- as.numeric(one$month >= change); one$s <- one$a * one$t
k <- glm.control(epsilon = 1e-14, maxit = 100)
rate <- glm(leaks ~ t + a + s + offset(log(days)), quasipoisson, one, control = k)
share <- glm(cbind(dislodged, catheters - dislodged) ~ t + a + s, quasibinomial, one, control = k)
for (term in c("t", "a", "s")) { put("rate", term, rate); put("proportion", term, share) }
settled <- glm(leaks ~ t + a + s + offset(log(days)), quasipoisson,
               one[!(one$month %in% c(change, change + 1)), ], control = k)
put("rate lag 2", "a", settled)
d$a <- as.numeric(d$month >= change); d$both <- d$a * (d$site == "godwit")
did <- glm(leaks ~ 0 + site + a + both + offset(log(days)), quasipoisson, d, control = k)
put("rate controls", "both", did)
did <- glm(cbind(dislodged, catheters - dislodged) ~ 0 + site + a + both, quasibinomial, d,
           control = k)
put("proportion controls", "both", did)
write.csv(format(out, digits = 12), "data/change_r.csv", row.names = FALSE, quote = FALSE)
