// session.json is written and read as one: what goes in comes out, and a damaged file is told in one line.
#include "cli/files/session/session_file.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <filesystem>
#include <limits>
#include <nlohmann/json.hpp>
#include <random>

#include "support/folder.h"
#include "support/hand_made_sessions.h"
#include "unit/session/same_session.h"

namespace assay::cli {
namespace {

using capture::FaultKind;
using nlohmann::ordered_json;
using testing::HasSubstr;

/// Everything that a session can hold, in one.
Session full() {
    Session session = hand_made::many_verdicts();
    session.bench.jig = capture::ImpedanceJig{capture::ImpedanceJig::Topology::sense_low,
                                              22.05,
                                              {{"jig:series", 0.001}},
                                              1,
                                              0,
                                              0.04,
                                              1e6,
                                              "match.json"};
    session.bench.loads[1].minus = 0;
    session.bench.loads[1].resistance_ohm = std::numeric_limits<double>::infinity();
    session.bench.inputs[1].role = capture::InputRole::clip_detector;
    session.bench.inputs[1].threshold_dbfs = -12.5;
    session.bench.inputs[0].own_thd_percent = 0.0021;
    session.bench.inputs[0].high_pass_hz = 3.7;
    session.tests[0].takes[0].recording.flags = {"overflow", "underflow"};
    session.tests[0].takes[0].recording.floating = true;
    session.tests[0].result.conditions.emplace_back("note", std::string("ünïcode \"quoted\" \\ \x01"));
    session.claims[0].limit.at_most = 1.0 / 3.0;
    TestRecord failed = hand_made::with_fault().tests[0];
    failed.id = "second-run";
    session.tests.push_back(failed);
    return session;
}

TEST(SessionFile, GivesBackExactlyWhatWasWritten) {
    const Folder folder;
    for (const Session& session :
         {full(), hand_made::amplifier(), hand_made::with_fault(), hand_made::bare(), hand_made::powers()}) {
        ASSERT_TRUE(write_session(session, folder.path));
        const auto read = read_session(folder.path);
        ASSERT_TRUE(read) << read.error().text;
        EXPECT_TRUE(same(session, *read));
        EXPECT_EQ(session_text(session), session_text(*read));
    }
}

TEST(SessionFile, KeepsTheSettingsOfTheSimulatedBench) {
    const Folder folder;
    Session session = hand_made::amplifier();
    session.bench.simulated.card.bits = 16;
    session.bench.simulated.amplifier.second_channel_inverted = true;
    session.bench.simulated.amplifier.channel_gain_db = {0.25, -0.5};
    ASSERT_TRUE(write_session(session, folder.path));
    const auto read = read_session(folder.path);
    ASSERT_TRUE(read) << read.error().text;
    EXPECT_EQ(read->bench.simulated.card.bits, 16);
    EXPECT_TRUE(read->bench.simulated.amplifier.second_channel_inverted);
    EXPECT_EQ(read->bench.simulated.amplifier.channel_gain_db,
              session.bench.simulated.amplifier.channel_gain_db);
    EXPECT_EQ(read->bench.simulated.amplifier.rail_scale, session.bench.simulated.amplifier.rail_scale);
    EXPECT_EQ(read->bench.simulated.seed, 18446744073709551557U);
}

TEST(SessionFile, HasTheKeysThatOthersRelyOn) {
    const ordered_json document = ordered_json::parse(session_text(full()));
    EXPECT_EQ(document.begin().key(), "schema");
    EXPECT_EQ(document["schema"], "assay-session-1");
    EXPECT_EQ(document["simulated"], true);
    EXPECT_TRUE(document["unit"].is_object());
    EXPECT_TRUE(document["bench"].is_object());
    const auto& test = document["tests"]["power-4-ohm"];
    EXPECT_EQ(test["measure"], "clipping-power");
    for (const char* key : {"loads", "quantities", "curves", "conditions"})
        EXPECT_TRUE(test[key].is_object()) << key;
    for (const char* key : {"takes", "warnings"}) EXPECT_TRUE(test[key].is_array()) << key;
    const auto& load = test["loads"]["load-a"];
    for (const char* key : {"quantities", "curves"}) EXPECT_TRUE(load[key].is_object()) << key;
    EXPECT_EQ(load["warnings"][0]["code"], "limit-not-reached");
    EXPECT_EQ(load["absent"][0]["quantity"], "power_at_30_percent_w");
    EXPECT_FALSE(load["quantities"].contains("power_at_30_percent_w"));

    const auto& power = load["quantities"]["power_at_1_percent_w"];
    EXPECT_EQ(power["unit"], "W");
    EXPECT_EQ(power["coverage_factor"], 2.0);
    // JCGM 100, 5.1.2: the standard uncertainty is the root of the sum of squares of the contributions.
    double variance = 0.0;
    double shares = 0.0;
    double last_share = 100.0;
    for (const auto& source : power["sources"]) {
        const double contribution = source["contribution"];
        variance += contribution * contribution;
        shares += source["share_percent"].get<double>();
        EXPECT_LE(source["share_percent"].get<double>(), last_share);
        last_share = source["share_percent"];
    }
    EXPECT_NEAR(power["expanded_uncertainty"].get<double>(), 2.0 * std::sqrt(variance), 1e-12);
    EXPECT_NEAR(shares, 100.0, 1e-9);
    EXPECT_EQ(power["sources"][0]["id"], "load:load-a:resistance");
    EXPECT_LT(power["sources"][1]["contribution"].get<double>(), 0.0) << "the sign is kept";

    std::size_t rows = 0;
    for (const auto& [name, column] : load["curves"]["level"].items()) {
        if (rows == 0) rows = column.size();
        EXPECT_EQ(column.size(), rows) << name;
    }
    EXPECT_GT(rows, 50U);
    const auto& claim = document["claims"][0];
    for (const char* key : {"text", "test", "load", "quantity", "verdict", "reason"}) {
        EXPECT_TRUE(claim[key].is_string()) << key;
    }
    for (const char* key : {"measured", "limit"}) EXPECT_TRUE(claim[key].is_object()) << key;
    EXPECT_EQ(document["claims"][3]["verdict"], "not met");
    EXPECT_EQ(test["takes"][0]["capture"]["path"], "captures/power-4-ohm.flac");
    EXPECT_EQ(test["takes"][0]["tone"]["segments"]["role"].size(), 81U);
}

TEST(SessionFile, AnUntrustedCaptureHasAFaultAWarningAndNoNumbers) {
    const ordered_json document = ordered_json::parse(session_text(hand_made::with_fault()));
    const auto& test = document["tests"]["power-4-ohm"];
    EXPECT_EQ(test["fault"]["at_s"], 12.4);
    EXPECT_THAT(test["fault"]["text"].get<std::string>(), HasSubstr("480 frames"));
    EXPECT_FALSE(test["fault"]["mend"].get<std::string>().empty());
    EXPECT_EQ(test["warnings"][0]["code"], "untrusted-capture");
    EXPECT_TRUE(test["quantities"].empty());
    EXPECT_TRUE(test["loads"].empty());
    EXPECT_TRUE(document["claims"][0]["measured"].empty());

    Session wrong = hand_made::amplifier();
    wrong.tests[0].result.fault = hand_made::with_fault().tests[0].result.fault;
    const Folder folder;
    const auto written = write_session(wrong, folder.path);
    ASSERT_FALSE(written);
    EXPECT_THAT(written.error().text, HasSubstr("tests.power-4-ohm: has numbers although"));
}

TEST(SessionFile, RefusesNumbersThatAreNone) {
    const Folder folder;
    for (const double bad :
         {std::numeric_limits<double>::quiet_NaN(), std::numeric_limits<double>::infinity()}) {
        Session session = hand_made::amplifier();
        session.tests[0].result.loads[0].second.quantities[0].second.value = bad;
        const auto written = write_session(session, folder.path);
        ASSERT_FALSE(written);
        EXPECT_EQ(written.error().kind, FaultKind::internal);
        EXPECT_THAT(
            written.error().text,
            HasSubstr(
                "tests.power-4-ohm.loads.load-a.quantities.power_at_1_percent_w.value: is not a finite"));
    }
    EXPECT_FALSE(std::filesystem::exists(folder.path / "session.json"));
}

TEST(SessionFile, WritesNothingWhereItCannotAndLeavesNoRemains) {
    const auto written = write_session(hand_made::bare(), "/nowhere/at/all");
    ASSERT_FALSE(written);
    EXPECT_EQ(written.error().kind, FaultKind::bad_arguments);
    EXPECT_THAT(written.error().text, HasSubstr("cannot be written"));
    const Folder folder;
    ASSERT_TRUE(write_session(hand_made::bare(), folder.path));
    const auto entries = std::distance(std::filesystem::directory_iterator(folder.path), {});
    EXPECT_EQ(entries, 1) << "only session.json";
}

struct Damage {
    const char* pointer;  // JSON pointer to what is replaced
    ordered_json value;
    const char* said;
};

TEST(SessionFile, TellsInOneLineWhatIsDamagedAndWhere) {
    const Folder folder;
    const ordered_json whole = ordered_json::parse(session_text(full()));
    const std::vector<Damage> damages{
        {"/schema", "assay-session-9", "schema: is \"assay-session-9\", not \"assay-session-1\""},
        {"/simulated", "yes", "simulated: should be true or false"},
        {"/unit/kind", "toaster", "unit.kind: is none of the words known here"},
        {"/bench/input/0/volts_at_full_scale", nullptr,
         "bench.input[0].volts_at_full_scale: should be a number"},
        {"/bench/input/0/volts_at_full_scale", 0.0,
         "bench.input.probe-a.volts_at_full_scale: is out of all measure"},
        {"/bench/input/0/attenuation", -1.0, "bench.input.probe-a.attenuation: is out of all measure"},
        {"/bench/input/0/channel", 2000000000, "bench.input.probe-a.channel: is out of all measure"},
        {"/bench/load/0/resistance_ohm", -4.0, "bench.load.load-a.resistance_ohm: is out of all measure"},
        {"/bench/sound/sample_rate_hz", 1e300, "bench.sound.sample_rate_hz: is out of all measure"},
        {"/tests/power-4-ohm/takes/0/tone/rate_hz", 1e-9, "its rate is out of all measure"},
        {"/tests/power-4-ohm/takes/0/tone/segments/from_hz/0", -50.0, "a frequency is out of all measure"},
        {"/tests/power-4-ohm/takes/0/tone/segments/level_dbfs/0", 1e6, "a level is out of all measure"},
        {"/bench/load/0/plus", "probe-z", "bench.load[0].plus: names no part of the bench"},
        {"/bench/load/0/driven_by", {"nobody"}, "bench.load[0].driven_by: names no output"},
        {"/bench/load/1/name", "load-a", "bench.load: two parts bear the same name"},
        {"/tests", 7, "tests: should be an object"},
        {"/tests/power-4-ohm/measure", 1, "tests.power-4-ohm.measure: should be a text"},
        {"/tests/power-4-ohm/loads/load-a/quantities/gain_db/value", "big",
         "tests.power-4-ohm.loads.load-a.quantities.gain_db.value: should be a number"},
        {"/tests/power-4-ohm/loads/load-a/quantities/gain_db/expanded_uncertainty", 0.01,
         "quantities.gain_db: its uncertainty does not follow from its sources"},
        {"/tests/power-4-ohm/loads/load-a/curves/level/power_w",
         {1.0},
         "curves.level: its lists are not equally long"},
        {"/tests/power-4-ohm/takes/0/capture/path", "captures/../../secret",
         "its path does not lie in captures/"},
        {"/tests/power-4-ohm/takes/0/capture/path", "/etc/hosts", "its path does not lie in captures/"},
        {"/tests/power-4-ohm/takes/0/tone/segments/first_frame/3", 9223372036854775807,
         "a segment does not lie inside the tone"},
        {"/tests/power-4-ohm/takes/0/tone/segments/role/0", "foot", "a role is none of head, mark, step"},
        {"/tests/power-4-ohm/takes/0/tone/frames", 1.5, "tone.frames: should be a whole number"},
        {"/tests/second-run/warnings", ordered_json::array(),
         "tests.second-run: its fault is not among its warnings"},
        {"/claims/0/verdict", "perhaps", "claims[0].verdict: is none of the words known here"},
        {"/claims/0/measured/unit", 3, "claims[0].measured.unit: should be a text"},
    };
    for (const Damage& damage : damages) {
        ordered_json document = whole;
        document.at(ordered_json::json_pointer(damage.pointer)) = damage.value;
        folder.write("session.json", document.dump());
        const auto read = read_session(folder.path);
        ASSERT_FALSE(read) << damage.pointer;
        EXPECT_EQ(read.error().kind, FaultKind::bad_input_file);
        EXPECT_THAT(read.error().text, HasSubstr("session.json: "));
        EXPECT_THAT(read.error().text, HasSubstr(damage.said));
        EXPECT_EQ(read.error().text.find('\n'), std::string::npos);
        EXPECT_FALSE(read.error().mend.empty());
    }
}

TEST(SessionFile, ATestIdThatIsNoFileNameIsRefused) {
    const Folder folder;
    ordered_json document = ordered_json::parse(session_text(hand_made::amplifier()));
    document["tests"]["../x"] = document["tests"]["power-4-ohm"];
    folder.write("session.json", document.dump());
    const auto read = read_session(folder.path);
    ASSERT_FALSE(read);
    EXPECT_THAT(read.error().text, HasSubstr("is no test id"));
}

TEST(SessionFile, TellsWhatIsNoJsonAtAll) {
    const Folder folder;
    EXPECT_THAT(read_session(folder.path).error().text, HasSubstr("there is no such file"));
    const std::vector<std::pair<std::string, std::string>> cases{
        {"", "line 1, column 1: is not JSON"},
        {"{\n  \"schema\": ]", "line 2, column 13: is not JSON"},
        {"[]", "should be an object"},
        {"{}", "schema: is missing"},
        {"{\"schema\": 1e999}", "cannot be read"},
        {std::string(2'000'000, '['), "is not JSON"},
        {"{\"schema\": \"\xff\"}", "is not JSON"},
    };
    for (const auto& [text, said] : cases) {
        folder.write("session.json", text);
        const auto read = read_session(folder.path);
        ASSERT_FALSE(read) << text.substr(0, 40);
        EXPECT_EQ(read.error().kind, FaultKind::bad_input_file);
        EXPECT_THAT(read.error().text, HasSubstr(said));
    }
}

TEST(SessionFile, RandomDamageNeverCrashes) {
    const Folder folder;
    Session small = hand_made::many_verdicts();
    small.tests[0].takes[0].tone.segments.resize(3);
    for (auto& [load, numbers] : small.tests[0].result.loads) {
        for (auto& column : numbers.curves[0].second.columns) column.values.resize(4);
    }
    const std::string whole = session_text(small);
    std::mt19937_64 random(20260314);
    int refused = 0;
    int accepted = 0;
    constexpr int trials = 3000;
    for (int trial = 0; trial < trials; ++trial) {
        std::string text = whole;
        const auto changes = 1 + random() % 3;
        for (std::uint64_t i = 0; i < changes && !text.empty(); ++i) {
            const std::size_t at = random() % text.size();
            switch (random() % 5) {
                case 0:
                    text[at] = static_cast<char>(random() % 256);
                    break;
                case 1:
                    text.erase(at, 1 + random() % 40);
                    break;
                case 2:
                    text.insert(at, text.substr(random() % text.size(), random() % 40));
                    break;
                case 3:
                    text.resize(at);
                    break;
                default:
                    text[at] = "{}[]\",:0123456789.eE-tfn"[random() % 24];
            }
        }
        folder.write("session.json", text);
        const auto read = read_session(folder.path);
        if (read) {
            ++accepted;  // a changed letter of a text, or a digit: still a session, and one that can be
                         // written
            EXPECT_FALSE(session_text(*read).empty());
        } else {
            ++refused;
            EXPECT_EQ(read.error().kind, FaultKind::bad_input_file);
            EXPECT_EQ(read.error().text.find('\n'), std::string::npos);
        }
    }
    EXPECT_GT(refused, trials / 2);
    EXPECT_GT(accepted, trials / 100);
}

}  // namespace
}  // namespace assay::cli
