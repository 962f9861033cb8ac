#include "cli/files/demo_files.h"

#include <gtest/gtest.h>

#include <algorithm>
#include <filesystem>
#include <random>
#include <set>

#include "capture/simulated/demo_units.h"
#include "capture/simulated/settings_keys.h"
#include "cli/files/bench/bench_file.h"
#include "cli/files/job/job_file.h"
#include "cli/files/toml/nearest.h"
#include "cli/files/utf8.h"
#include "slips.h"

namespace assay::cli {
namespace {

const std::filesystem::path demo = std::filesystem::path(ASSAY_FIXTURES) / "demo";

TEST(DemoFiles, AreSound) {
    auto bench = read_bench(demo / "bench.toml");
    ASSERT_TRUE(bench.has_value()) << bench.error().text << "; " << bench.error().mend;
    EXPECT_TRUE(bench_remarks(*bench).empty());
    EXPECT_EQ(bench->loads.size(), 4U);
    EXPECT_TRUE(bench->loads[2].bridged());
    const auto job = read_job(demo / "job.toml", *bench, bench->sample_rate_hz);
    ASSERT_TRUE(job.has_value()) << job.error().text << "; " << job.error().mend;
    EXPECT_EQ(job->tests.size(), 15U);
    EXPECT_EQ(job->claims.size(), 8U);
    EXPECT_EQ(job->unit.maker, capture::demo_maker);
    EXPECT_EQ(job->unit.model, capture::demo_model);
}

TEST(DemoFiles, AreThoseInTheProgram) {
    const auto bench = parse_bench(demo_bench_toml, "bench.toml");
    ASSERT_TRUE(bench.has_value()) << bench.error().text;
    EXPECT_TRUE(parse_job(demo_job_toml, "job.toml", *bench, bench->sample_rate_hz).has_value());
}

TEST(DemoFiles, TheDriversAreSoundAndInTheProgram) {
    auto bench = read_bench(demo / "driver-bench.toml");
    ASSERT_TRUE(bench.has_value()) << bench.error().text << "; " << bench.error().mend;
    EXPECT_TRUE(bench_remarks(*bench).empty());
    const auto job = read_job(demo / "driver-job.toml", *bench, bench->sample_rate_hz);
    ASSERT_TRUE(job.has_value()) << job.error().text << "; " << job.error().mend;
    EXPECT_EQ(job->unit.kind, UnitKind::driver);
    EXPECT_EQ(job->tests.size(), 4U);
    EXPECT_EQ(job->claims.size(), 5U);
    const auto inside = parse_bench(demo_driver_bench_toml, "driver-bench.toml");
    ASSERT_TRUE(inside.has_value()) << inside.error().text;
    EXPECT_TRUE(
        parse_job(demo_driver_job_toml, "driver-job.toml", *inside, inside->sample_rate_hz).has_value());
}

// 1.5 V RMS peaks at 2.121 V; the bench allows 2.00 V.
TEST(DemoFiles, ALevelPastTheBenchesMaximumIsRefusedByLine) {
    const capture::Bench bench = parse_bench(demo_bench_toml, "bench.toml").value();
    const auto at = [&](const std::string& level) {
        return parse_job(helpers::changed(std::string(demo_job_toml), "drive_dbfs = -20.0 ", level + " "),
                         "job.toml", bench, bench.sample_rate_hz);
    };
    EXPECT_TRUE(at("drive_volts = 1.414213").has_value());  // reaching it is allowed
    const auto loud = at("drive_volts = 1.5");
    ASSERT_FALSE(loud.has_value());
    helpers::expect_well_formed(loud.error(), "job.toml");
    EXPECT_TRUE(loud.error().text.starts_with("job.toml:27: test \"distortion-left\": drive_volts: "))
        << loud.error().text;
    EXPECT_FALSE(at("drive_dbfs = -0.1").has_value());
}

// The bench file writes out what the unit of the demo is made of; both must stay the same unit.
TEST(DemoFiles, TheSimulatedUnitIsTheHealthyOne) {
    capture::SimulatedBench written = read_bench(demo / "bench.toml").value().simulated;
    capture::SimulatedBench meant = capture::healthy_demo_unit();
    const auto ours = capture::setting_keys(written);
    const auto theirs = capture::setting_keys(meant);
    ASSERT_EQ(ours.size(), theirs.size());
    for (std::size_t i = 0; i < ours.size(); ++i) {
        // The card's own scale differs from the stated one on purpose: a calibration is never exact.
        if (ours[i].key == "full_scale_in_v") continue;
        std::visit(
            [&](auto* value) {
                const auto* other = std::get_if<decltype(value)>(&theirs[i].value);
                ASSERT_NE(other, nullptr);
                EXPECT_EQ(*value, **other) << ours[i].table << " " << ours[i].key;
            },
            ours[i].value);
    }
}

/// One to four random changes: bytes, pieces of the file itself, and what a person or a tool might leave
/// behind.
std::string mutated(const std::string& text, std::mt19937& random) {
    static const std::vector<std::string> crumbs{"[",
                                                 "]",
                                                 "[[",
                                                 "]]",
                                                 "{",
                                                 "}",
                                                 "\"",
                                                 "\"\"\"",
                                                 "'",
                                                 "=",
                                                 "#",
                                                 "\n",
                                                 "\r\n",
                                                 ".",
                                                 ",",
                                                 "-",
                                                 "inf",
                                                 "nan",
                                                 "-1",
                                                 "0",
                                                 "1e999",
                                                 "9223372036854775808",
                                                 "0x",
                                                 "true",
                                                 "1979-05-27",
                                                 "\\",
                                                 "\\u0000",
                                                 "\\uD800",
                                                 "\xFF",
                                                 "\xEF\xBB\xBF",
                                                 "\xE2\x80\xAE",
                                                 std::string(1, '\0'),
                                                 "[test]",
                                                 "[[load]]",
                                                 "name = \"\"",
                                                 "loads = [[1]]",
                                                 "a.b.c = 1",
                                                 "_"};
    const auto below = [&](std::size_t n) { return static_cast<std::size_t>(random() % n); };
    std::string out = text;
    const std::size_t changes = 1 + below(4);
    for (std::size_t i = 0; i < changes && !out.empty(); ++i) {
        const std::size_t at = below(out.size());
        switch (below(6)) {
            case 0:
                out[at] = static_cast<char>(random() & 0xFFU);
                break;
            case 1:
                out.erase(at, 1 + below(30));
                break;
            case 2:
                out.insert(at, crumbs[below(crumbs.size())]);
                break;
            case 3: {
                const std::string piece = out.substr(below(out.size()), 1 + below(200));
                out.insert(at, piece);
                break;
            }
            case 4: {  // drop a line
                const std::size_t begin = out.rfind('\n', at);
                const std::size_t end = out.find('\n', at);
                if (begin != std::string::npos && end != std::string::npos) out.erase(begin, end - begin);
                break;
            }
            default:
                out.resize(at + (out.size() - at) / 2);
                break;
        }
    }
    return out;
}

void expect_one_line_fault(const capture::Fault& fault, const std::string& name) {
    helpers::expect_well_formed(fault, name);
    EXPECT_EQ(first_invalid(fault.text + fault.mend), std::nullopt);
    for (const char c : fault.text + fault.mend)
        EXPECT_FALSE(static_cast<unsigned char>(c) < 0x20) << fault.text;
}

TEST(DemoFiles, MutationsGiveAValueOrAOneLineFault) {
    const std::string bench_text(demo_bench_toml);
    const std::string job_text(demo_job_toml);
    const capture::Bench bench = parse_bench(bench_text, "bench.toml").value();
    std::mt19937 random(20260301);
    int good = 0;
    std::set<std::string> kinds;  // of faults, by the words after the line number
    for (int i = 0; i < 10'000 && !::testing::Test::HasFailure(); ++i) {
        const std::string bad_bench = mutated(bench_text, random);
        const std::string bad_job = mutated(job_text, random);
        SCOPED_TRACE(i);
        const auto check = [&](const auto& result, const std::string& name) {
            if (result) {
                ++good;
                return;
            }
            expect_one_line_fault(result.error(), name);
            kinds.insert(result.error().text.substr(result.error().text.find(": ")));
        };
        check(parse_bench(bad_bench, "bench.toml"), "bench.toml");
        check(parse_job(bad_job, "job.toml", bench, 96000.0), "job.toml");
    }
    // The mutations must reach both ends: files that are still sound, and many different mistakes.
    EXPECT_GT(good, 500);
    EXPECT_LT(good, 15'000);
    EXPECT_GT(kinds.size(), 500U);
    RecordProperty("good", good);
    RecordProperty("kinds", static_cast<int>(kinds.size()));
}

}  // namespace
}  // namespace assay::cli
