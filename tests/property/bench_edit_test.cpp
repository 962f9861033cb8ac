// A calibration changes its keys in a bench file and nothing else: any scale that is written is read back bit
// for bit, every other line stays as it was, and writing the same again changes nothing.
#include "cli/files/bench/bench_edit.h"

#include <fmt/format.h>
#include <gtest/gtest.h>
#include <rapidcheck/gtest.h>
#include <unistd.h>

#include <algorithm>
#include <cmath>
#include <filesystem>
#include <fstream>
#include <sstream>

#include "cli/files/bench/bench_file.h"

namespace assay::cli {
namespace {

std::vector<std::string> lines_of(const std::string& text) {
    std::vector<std::string> lines;
    std::istringstream in(text);
    for (std::string line; std::getline(in, line);) lines.push_back(line);
    return lines;
}

std::string drawn_remark() {
    return *rc::gen::elementOf(
        std::vector<std::string>{"", "# of the shelf", "   ", "# volts_at_full_scale = 9", "#[[input]]"});
}

}  // namespace

RC_GTEST_PROP(BenchEdit, WhatIsWrittenIsReadAndAllElseStays, ()) {
    const int inputs = *rc::gen::inRange(1, 6);
    std::string text = "[sound]\nsource = \"device\"\nsample_rate_hz = 48000\n\n";
    text += "[[output]]\nname = \"drive\"\nchannel = 1\nvolts_at_full_scale = 2.0\nmaximum_dbfs = 0.0\n";
    for (int i = 0; i < inputs; ++i) {
        text += fmt::format("{}\n[[input]]\n{}\nname = \"p{}\"  # behind\nchannel = {}\n{}\n", drawn_remark(),
                            drawn_remark(), i, i + 1, drawn_remark());
        text += fmt::format("volts_at_full_scale = 1.5 # by meter {}\n{}\n", i, drawn_remark());
    }
    for (int i = 0; i < inputs; ++i)
        text += fmt::format("\n[[load]]\nname = \"l{}\"\nresistance_ohm = 4.0\nplus = \"p{}\"\n", i, i);
    const std::filesystem::path path =
        std::filesystem::path(testing::TempDir()) / fmt::format("assay-property-{}.toml", ::getpid());
    const auto put = [&](const std::string& whole) { std::ofstream(path, std::ios::binary) << whole; };
    put(text);
    const int which = *rc::gen::inRange(0, inputs);
    const double volts = std::pow(10.0, *rc::gen::inRange(-100000, 100001) / 1e5) * 1.7;
    const BenchEdits values{{"volts_at_full_scale", fmt::format("{}", volts)}, {"calibrated_at_hz", "83"}};
    const auto once = edit_bench(path, "input", fmt::format("p{}", which), values);
    RC_ASSERT(once.has_value());
    const auto bench = parse_bench(*once, "bench.toml");
    RC_ASSERT(bench.has_value());
    for (int i = 0; i < inputs; ++i) {
        const capture::Input& input = bench->inputs[static_cast<std::size_t>(i)];
        RC_ASSERT(input.name == fmt::format("p{}", i));
        RC_ASSERT(input.volts_at_full_scale == (i == which ? volts : 1.5));
    }
    // One line changed in its place, one came in; the rest is there in the same order.
    const auto before = lines_of(text);
    const auto after = lines_of(*once);
    RC_ASSERT(after.size() == before.size() + 1);
    std::size_t next = 0;
    std::size_t missing = 0;
    for (const std::string& line : before) {
        const auto found = std::find(after.begin() + static_cast<std::ptrdiff_t>(next), after.end(), line);
        if (found == after.end())
            ++missing;
        else
            next = static_cast<std::size_t>(found - after.begin()) + 1;
    }
    RC_ASSERT(missing == 1U);
    // What was said behind the value is said behind the new one.
    RC_ASSERT(once->find(fmt::format("{} # by meter {}\n", *values[0].second, which)) != std::string::npos);
    put(*once);
    const auto twice = edit_bench(path, "input", fmt::format("p{}", which), values);
    std::filesystem::remove(path);
    RC_ASSERT(twice.has_value());
    RC_ASSERT(*twice == *once);
}

}  // namespace assay::cli
