# Peers of the removal benchmark that are R packages. Run: Rscript removal_peers.R NAME FOLDER
# Prints one line of JSON with the seconds of the estimate itself, without reading.
suppressMessages({library(survival)})
args <- commandArgs(TRUE)
name <- args[1]; folder <- args[2]
names <- scan(file.path(folder, "names.txt"), "", quiet = TRUE)
size <- file.info(file.path(folder, "columns.bin"))$size / 8
table <- matrix(readBin(file.path(folder, "columns.bin"), "double", size), ncol = length(names))
colnames(table) <- names
hours <- table[, "hours"]; why <- table[, "why"]; child <- table[, "child"]
X <- table[, setdiff(names, c("hours", "why", "child", "site"))]
json <- function(v) paste0("[", paste(format(v, digits = 17), collapse = ","), "]")
out <- list()
seconds <- system.time({
  if (name == "survival_incidence") {
    fit <- survfit(Surv(hours, factor(why + 1, 0:6)) ~ 1)
  } else if (name == "survival_by_site") {
    site <- table[, "site"]
    fit <- survfit(Surv(hours, factor(why + 1, 0:6)) ~ site)
  } else if (name == "cmprsk_incidence") {
    suppressMessages(library(cmprsk))
    fit <- cuminc(hours, why + 1)
  } else if (name == "survival_cox") {
    fit <- coxph(Surv(hours, why == 1) ~ X + cluster(child),
                 control = coxph.control(eps = 1e-12, toler.chol = 1e-13))
  } else if (name == "survival_finegray") {
    event <- factor(ifelse(why == -1, 0, ifelse(why == 1, 1, 2)), 0:2)
    d <- data.frame(hours, event, X, child)
    long <- finegray(Surv(hours, event) ~ ., d, etype = 1)
    f <- reformulate(colnames(X), "Surv(fgstart, fgstop, fgstatus)")
    fit <- coxph(update(f, . ~ . + cluster(child)), long, weights = long$fgwt, ties = "breslow")
  } else if (name == "cmprsk_finegray") {
    suppressMessages(library(cmprsk))
    fit <- crr(hours, ifelse(why == -1, 0, ifelse(why == 1, 1, 2)), X, gtol = 1e-10)
  }
})["elapsed"]
if (name == "survival_incidence") {
  at <- summary(fit, times = c(24, 48, 72))
  out$incidence <- json(at$pstate[, -1]); out$se <- json(at$std.err[, -1])
}
if (grepl("cox|finegray", name)) {
  out$coefficients <- json(if (inherits(fit, "crr")) fit$coef else coef(fit))
  out$se <- json(sqrt(diag(fit$var)))
}
parts <- c(sprintf('"seconds": %.4f', seconds), sprintf('"%s": %s', names(out), unlist(out)))
cat(sprintf("{%s}\n", paste(parts, collapse = ", ")))
