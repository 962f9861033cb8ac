// What a live bench says where a recorder's owner would be told something else.
#include "cli/commands/live/live_words.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

namespace assay::cli {
namespace {

using testing::HasSubstr;
using testing::Not;

TEST(LiveWords, ABrokenBeginningIsNoOtherFile) {
    for (const char* text :
         {"resp.wav: the recording runs backwards",
          "resp.wav: another signal: the recording starts with another test's tone",
          "resp.wav: another signal: the start of this test's tone is not in the recording"}) {
        TestResult result;
        result.fault =
            capture::Fault{capture::FaultKind::untrusted_capture, text, std::nullopt, "save it again"};
        word_for_live(result);
        EXPECT_THAT(result.fault->text, HasSubstr("resp.wav: the beginning of the tone came back broken"));
        EXPECT_THAT(result.fault->mend, HasSubstr("larger buffer"));
        EXPECT_THAT(result.fault->mend, Not(HasSubstr("save")));
    }
}

TEST(LiveWords, AdviceSpeaksOfTheCard) {
    EXPECT_EQ(live_advice("lower the recorder's gain or raise the attenuation"),
              "raise the attenuation, or lower the card's input gain and calibrate anew");
}

}  // namespace
}  // namespace assay::cli
