// One function a command, each in a file of its own. Each takes what was typed and gives the exit status.
#pragma once

#include <filesystem>
#include <optional>
#include <string>
#include <vector>

#include "cli/commands/session/curve_export.h"
#include "cli/commands/terminal/io.h"

namespace assay::cli {

struct DemoOptions {
    std::filesystem::path into{};
};
int run_demo(const DemoOptions& options, const Manner& manner);

struct TonesOptions {
    std::filesystem::path job{};
    std::filesystem::path bench{};
    std::filesystem::path into{};
    std::optional<double> rate_hz{};
    int bits = 24;
    bool dither = false;
};
int run_tones(const TonesOptions& options, const Manner& manner);

/// What of a run's files lies in a session's folder, and so names the copies that are kept there.
enum class OfSession { nothing, job, job_and_bench };

struct RunOptions {
    std::filesystem::path job{};
    std::filesystem::path bench{};
    std::filesystem::path into{};
    std::optional<std::filesystem::path> recordings{};
    std::optional<std::filesystem::path> answers{};  // to the questions of a live run
    bool yes = false;
    bool resume = false;
    bool show_wiring = false;
    std::string pages = "all";        // "all", "html" or "none"
    std::vector<std::string> only{};  // ids of tests; empty: all of the job
    bool print = true;                // the results; false for a command that tells them in its own way
    OfSession of_session = OfSession::nothing;
};
int run_session(const RunOptions& options, const Manner& manner);

int run_devices(const Manner& manner);

struct WatchOptions {
    std::filesystem::path bench{};
    std::string load{};                 // empty: all
    std::optional<double> play_dbfs{};  // the program plays the tone itself
    double frequency_hz = 997.0;
    double seconds = 0.0;  // 0: until Ctrl-C
    bool yes = false;
};
int run_watch(const WatchOptions& options, const Manner& manner);

struct NewOptions {
    std::filesystem::path file{};  // empty: standard output
    std::optional<std::filesystem::path> answers{};
};
int run_new_bench(const NewOptions& options, const Manner& manner);
int run_new_job(const NewOptions& options, const Manner& manner);

struct CalibrateOptions {
    std::filesystem::path bench{};
    std::optional<std::filesystem::path> answers{};
    std::string name{};   // of the input, output or load
    std::string meter{};  // a [[meter]] of the bench
    double frequency_hz = 83.0;
    double level_dbfs = -20.0;
    bool yes = false;
};
int run_calibrate_input_live(const CalibrateOptions& options, const Manner& manner);
int run_calibrate_output(const CalibrateOptions& options, const Manner& manner);
int run_calibrate_loopback(const CalibrateOptions& options, const Manner& manner);
int run_calibrate_series(const CalibrateOptions& options, const Manner& manner);
int run_calibrate_load(const CalibrateOptions& options, const Manner& manner);
int run_calibrate_divider(const CalibrateOptions& options, const Manner& manner);
int run_calibrate_match(const CalibrateOptions& options, const Manner& manner);

struct ShowOptions {
    std::filesystem::path session{};
};
int run_show(const ShowOptions& options, const Manner& manner);

struct CertifyOptions {
    std::filesystem::path session{};
    std::string format{};  // "html", "pdf", "png", "csv"; empty: html, pdf and png
    std::string paper = "a4";
    bool sign = false;
    bool bundle = false;
};
int run_certify(const CertifyOptions& options, const Manner& manner);

struct VerifyOptions {
    std::filesystem::path session{};  // a folder or a bundle
    std::string key{};                // fingerprint that the signer's key must have; empty: any
};
int run_verify(const VerifyOptions& options, const Manner& manner);

struct CheckOptions {
    std::filesystem::path session{};  // a folder or a bundle
    std::optional<std::filesystem::path> bench{};
    std::optional<std::filesystem::path> recordings{};
    std::optional<std::filesystem::path> answers{};  // to the questions of a live run
    bool yes = false;
};
int run_check(const CheckOptions& options, const Manner& manner);

int run_schema();

struct ExportOptions {
    std::filesystem::path session{};
    ExportChoice choice{};
    std::string format = "csv";    // "csv", "text", "touchstone", "spice"
    std::filesystem::path into{};  // empty: standard output
};
int run_export(const ExportOptions& options, const Manner& manner);

struct CompareOptions {
    std::filesystem::path left{};
    std::filesystem::path right{};
    std::optional<double> within_percent{};
    std::filesystem::path plots{};  // empty: none
};
int run_compare(const CompareOptions& options, const Manner& manner);

struct CalibrateInputOptions {
    std::filesystem::path bench{};
    std::filesystem::path recording{};
    std::string input{};
    double meter_volts = 0.0;
    std::string meter{};
};
int run_calibrate_input(const CalibrateInputOptions& options, const Manner& manner);

}  // namespace assay::cli
