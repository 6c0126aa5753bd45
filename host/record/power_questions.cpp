// SPDX-License-Identifier: MIT
#include "host/record/power_questions.hpp"

namespace yokedock::record {

std::vector<PowerQuestion> power_questions(const Profile& profile) {
    std::vector<PowerQuestion> out;
    for (const BuiltInQuestion& question : kPowerQuestions) {
        const bool asked =
            question.when == AskedWhen::kAlways ||
            (question.when == AskedWhen::kLive && profile.live_to_mains.value_or(true)) ||
            (question.when == AskedWhen::kHighVoltage &&
             profile.own_line_output_transformer.value_or(true));
        if (asked) {
            out.push_back({question.id, question.kind, question.text});
        }
    }
    for (const ProfileQuestion& question : profile.questions) {
        out.push_back({question.id, AnswerKind::kYes, question.text});
    }
    return out;
}

bool is_safety(const std::string& id) {
    for (const BuiltInQuestion& question : kPowerQuestions) {
        if (id == question.id) {
            return question.when != AskedWhen::kAlways;
        }
    }
    return false;
}

} // namespace yokedock::record
